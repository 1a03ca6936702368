//! Antifreeze that would not hold a winter of its place: from past seasons and the record to what each owner is told, and to
//! what stands on the yard's worklist.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::app::alerts::deadline::one_in;
use crate::app::alerts::seasonal::{Book, Decided, earlier, owner_told, past_of, reader};
use crate::app::assess::past_seasons::{Passing, PastSeasons};
use crate::app::assess::{Assessment, BoatView};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::{Composer, label_of};
use crate::domain::alert::blend::{Filled, Word, decide_filled};
use crate::domain::alert::{Alert, Decision, Kind, System, is_wet};
use crate::domain::boat::{Care, CircuitId, CircuitState, Holds, SiteId};
use crate::domain::catalogue::{CircuitKind, Consequence};
use crate::domain::message::{TooWeak, WeakPart, compose_blend};
use crate::domain::physics::{BURST_SHARE, Liquid, STRONGEST, Solute};
use crate::domain::risk::judge::interrupts;
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::units::{Celsius, MassFraction};
use crate::domain::weather::seasons::still_to_come;
use crate::domain::yard::Site;

/// Work that is not yet written up is not asked about: a blend counts once it has stood so long.
const SETTLED: TimeDelta = TimeDelta::days(2);
/// From this chance on a harm is in sight, told or not.
const IN_SIGHT: f64 = 0.02;
/// Strengths that are tried for what would hold, by mass.
const TRIED_STEP: f64 = 0.05;
/// Strengths are taken down to this grid, so that boats share what is computed: the warm side.
const GRID: f64 = 200.0;

/// Decides every boat of the assessment whose place has past seasons. `decided` is what the same round came to about freezes.
///
/// # Errors
/// The store's, or a hole in the tables.
pub fn blends(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    decided: &Decision,
    now: DateTime<Utc>,
) -> Result<Decided, ServiceError> {
    let mut found = Decided::default();
    if house.clock.doubt(now).is_some() || house.settings.season.archives.is_empty() {
        return Ok(found);
    }
    let book = Book::read(house, Kind::Blend, decided)?;
    for view in &assessment.boats {
        let Some(look) = look(house, assessment, view, now)? else { continue };
        let id = &view.boat.id;
        let owner = owner_told(assessment, view);
        let weak: Vec<System> = look.weak.iter().map(|part| part.system.clone()).collect();
        let filled = Filled {
            of: book.of(assessment, view, owner),
            weak: &weak,
            chance: look.chance,
            over: look.over,
            waits: !is_clear(assessment, view)
                || book.open_of(id).is_some_and(|open| is_undone(view, open, now)),
        };
        let Some((alert, transition, word)) = decide_filled(&filled, now) else { continue };
        if let (Some(word), Some((person, site))) = (word, reader(assessment, view, owner, &alert))
        {
            let label = |circuit: &CircuitId| label_of(house, circuit);
            let context = composer.context((person, site), &label, now);
            let told = TooWeak {
                alert: &alert.id,
                revision: alert.revision,
                earlier: &earlier(&alert, person),
                word,
                boat: (&view.boat, &view.state),
                weak: &look.weak,
                winters: look.winters,
                one_in: one_in(house.settings.season.tolerance),
                earliest: look.earliest,
                holds_from: look.holds_from,
            };
            let letter = compose_blend(&told, &context).map_err(|error| error.to_string());
            found.post((house, composer), &alert, (person, site), letter, word != Word::Weak, now);
        }
        found.alerts.push(alert);
        found.transitions.push(transition);
    }
    Ok(found)
}

/// Does something that was told of hold water again, or what nobody knows, or a filling that is not yet written up? Then it is
/// neither renewed nor over.
fn is_undone(view: &BoatView, open: &Alert, now: DateTime<Utc>) -> bool {
    let told = |circuit: &&CircuitState| {
        let mut ledgers = open.told.values();
        ledgers.any(|ledger| {
            ledger.last.systems.iter().any(|system| system.circuit == circuit.circuit)
        })
    };
    view.state.circuits.iter().filter(told).any(|circuit| match circuit.holds {
        Holds::Blend | Holds::Coolant => {
            let known = matches!(circuit.liquid, Some(Liquid::Blend { .. }));
            !known || circuit.since.is_none_or(|since| now - since < SETTLED)
        }
        holds => is_wet(holds) || circuit.closed_pocket,
    })
}

/// Is the weather of the boat's place known, and nothing in it that would harm the antifreeze in her?
fn is_clear(assessment: &Assessment, view: &BoatView) -> bool {
    let seen = assessment.places.get(&view.state.site);
    let seen = seen.is_some_and(|place| place.weather.is_some());
    let filled = |row: &&CircuitRisk| matches!(row.holds, Holds::Blend | Holds::Coolant);
    seen && view.rows.iter().filter(filled).all(|row| row.chance_limit < IN_SIGHT)
}

/// `Applecart: oil and fuel coolers, 7 of 20 winters`, for each boat of the yard's care at the places of `own`.
pub fn too_weak(
    house: &AppContext,
    assessment: &Assessment,
    own: impl Fn(&SiteId) -> bool,
) -> Vec<String> {
    let now = assessment.instant.at;
    let here = assessment.boats.iter().filter(|view| own(&view.state.site));
    let yards = here.filter(|view| view.boat.care != Care::Owner);
    yards
        .filter_map(|view| {
            let look = look(house, assessment, view, now).ok().flatten()?;
            // What cold in sight presses on stands in the list itself.
            let pressed = |part: &&WeakPart| {
                let mut rows = view.rows.iter();
                rows.any(|row| {
                    row.circuit == part.system.circuit && row.priority > Priority::Notice
                })
            };
            let weak: Vec<&WeakPart> = look.weak.iter().filter(|part| !pressed(part)).collect();
            let mut parts: Vec<String> =
                weak.iter().map(|part| label_of(house, &part.system.circuit)).collect();
            parts.dedup();
            let most = weak.iter().map(|part| part.winters).max()?;
            let name = view.boat.name.trim();
            Some(format!("{name}: {}, {most} of {} winters", parts.join(", "), look.winters))
        })
        .collect()
}

/// What a boat's antifreeze would have come to in past winters.
struct Look {
    weak: Vec<WeakPart>,
    chance: f64,
    winters: usize,
    earliest: Option<NaiveDate>,
    over: bool,
    holds_from: Option<Celsius>,
}

/// `None` where the place is heated or has no past seasons, or where nothing of dear parts holds antifreeze.
fn look(
    house: &AppContext,
    assessment: &Assessment,
    view: &BoatView,
    now: DateTime<Utc>,
) -> Result<Option<Look>, ServiceError> {
    let Some((site, past)) = past_of(house, assessment, view) else { return Ok(None) };
    let (today, tolerance) = (today(site, now), house.settings.season.tolerance);
    let from = past.half.day_of(today);
    let mut found = Look {
        weak: Vec::new(),
        chance: 0.0,
        winters: past.winters.len(),
        earliest: None,
        over: false,
        holds_from: None,
    };
    let mut needed: Option<f64> = Some(0.0);
    for circuit in &view.state.circuits {
        let Some((kind, solute, strength)) = filled_with(house, view, circuit, now) else {
            continue;
        };
        let come = |strength: f64, from: u32| {
            let liquid = Liquid::Blend { solute, mass_fraction: MassFraction::clamped(strength) };
            let passing = Passing { liquid, share: BURST_SHARE };
            let days = house.passed(&past, &kind.thermal_class, passing)?;
            Ok::<_, ServiceError>(still_to_come(&days, from))
        };
        let (share, first) = come(strength, from)?;
        if share <= tolerance {
            found.over |= come(strength, 0)?.0 > tolerance;
            continue;
        }
        let liquid = Liquid::Blend { solute, mass_fraction: MassFraction::clamped(strength) };
        let system =
            System { circuit: circuit.circuit.clone(), instance: circuit.instance.clone() };
        let winters = in_winters(share, &past);
        let (first_ice, burst) = (liquid.first_ice(), liquid.burst());
        found.weak.push(WeakPart { system, first_ice, burst, winters });
        found.chance = found.chance.max(share);
        let day = first.and_then(|day| past.half.this_season(today, day));
        found.earliest = [found.earliest, day].into_iter().flatten().min();
        // The weakest mixture that holds, and the strongest of those that the parts need.
        let mut tried = strength;
        let holds = loop {
            tried += TRIED_STEP;
            if tried > STRONGEST {
                break None;
            }
            if come(tried, 0)?.0 <= tolerance {
                break Some(solute.first_ice_c(tried));
            }
        };
        needed = needed.zip(holds).map(|(known, own)| known.min(own));
    }
    if !found.weak.is_empty() {
        found.holds_from = needed.map(Celsius::clamped);
    }
    Ok(Some(found))
}

fn today(site: &Site, now: DateTime<Utc>) -> NaiveDate {
    now.with_timezone(&site.time_zone).date_naive()
}

/// The antifreeze in a dear circuit and its strength by mass, where a record of some standing says so.
fn filled_with<'a>(
    house: &'a AppContext,
    view: &BoatView,
    circuit: &CircuitState,
    now: DateTime<Utc>,
) -> Option<(&'a CircuitKind, Solute, f64)> {
    let kind = house.catalogue.circuit(&circuit.circuit)?;
    let dear = kind.consequence_when(view.state.afloat) >= Consequence::Major;
    let settled = circuit.since.is_some_and(|since| now - since >= SETTLED);
    let holds = matches!(circuit.holds, Holds::Blend | Holds::Coolant);
    if !dear || !settled || !holds || !interrupts(circuit, kind, view.state.afloat) {
        return None;
    }
    match circuit.liquid? {
        Liquid::Blend { solute, mass_fraction } => {
            let strength = (mass_fraction.value() * GRID).floor() / GRID;
            (strength > 0.0).then_some((kind, solute, strength))
        }
        _ => None,
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share of some winters"
)]
fn in_winters(share: f64, past: &PastSeasons) -> usize {
    (share * past.winters.len() as f64).round() as usize
}
