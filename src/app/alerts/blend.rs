//! Antifreeze that would not hold a winter of its place: from past seasons and the record to what each owner is told, and to
//! what stands on the yard's worklist.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::gathering::Gathering;
use super::open_alerts::last_closed;
use super::seasonal::{Freezes, concerned, past_of};
use crate::app::assess::past_seasons::{Passing, PastSeasons};
use crate::app::assess::{AssessedBoat, Assessment};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::label_of;
use crate::domain::alert::blend::{Filled, PastWinters, WeakPart};
use crate::domain::alert::{Alert, Decision, DecisionInput, Kind, System, decide, is_wet};
use crate::domain::boat::{Care, CircuitState, Holds, SiteId};
use crate::domain::catalogue::Catalogue;
use crate::domain::catalogue::{CircuitKind, Consequence};
use crate::domain::physics::{BURST_SHARE, Liquid, STRONGEST, Solute};
use crate::domain::risk::judge::interrupts;
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::units::{Celsius, MassFraction};
use crate::domain::weather::seasons::still_to_come;
use crate::domain::yard::{Site, recipients};

/// Work that is not yet written up is not asked about: a blend counts once it has stood so long.
const SETTLED: TimeDelta = TimeDelta::days(2);
/// From this chance on a harm is in sight, told or not.
const IN_SIGHT: f64 = 0.02;
/// Strengths that are tried for what would hold, by mass.
const TRIED_STEP: f64 = 0.05;
/// Strengths are taken down to this grid, so that boats share what is computed: the warm side.
const GRID: f64 = 200.0;

/// Decides every boat of the seen whose place has past seasons.
///
/// # Errors
/// The store's, or a hole in the tables.
pub(super) fn blends(
    gathering: &Gathering<'_>,
    decided: &mut Decision,
) -> Result<(), ServiceError> {
    let Gathering { app, seen, open, now, .. } = *gathering;
    if app.clock.doubt(now).is_some() || app.settings.season.archives.is_empty() {
        return Ok(());
    }
    let freezes = Freezes::of(open, decided);
    for view in &seen.boats {
        let Some(look) = look(app, seen, view, now)? else { continue };
        let closed = last_closed(&*app.store, Kind::Blend, &view.boat.id)?;
        let owner = recipients::of_season(&seen.yard.people, &view.boat);
        let weak: Vec<System> = look.past.weak.iter().map(|part| part.system.clone()).collect();
        let told = open.of(Kind::Blend, view.boat.id.as_str());
        let filled = Filled {
            of: concerned(gathering, (Kind::Blend, view), owner, closed.as_ref(), &freezes),
            weak: &weak,
            past: &look.past,
            chance: look.chance,
            over: look.over,
            waits: !is_clear(seen, view) || told.is_some_and(|told| is_undone(view, told, now)),
        };
        decided.extend(decide(DecisionInput::Blend(&filled), now));
    }
    Ok(())
}

/// Does something that was told of hold water again, or what nobody knows, or a filling that is not yet written up? Then it is
/// neither renewed nor over.
fn is_undone(view: &AssessedBoat, open: &Alert, now: DateTime<Utc>) -> bool {
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
fn is_clear(seen: &Assessment, view: &AssessedBoat) -> bool {
    let seen = seen.places.get(&view.state.site);
    let seen = seen.is_some_and(|place| place.weather.is_some());
    let filled = |row: &&CircuitRisk| matches!(row.holds, Holds::Blend | Holds::Coolant);
    seen && view.rows.iter().filter(filled).all(|row| row.chance_limit < IN_SIGHT)
}

/// `Applecart: oil and fuel coolers, 7 of 20 winters`, for each boat of the yard's care at the places of `own`.
pub fn too_weak(app: &AppContext, seen: &Assessment, own: impl Fn(&SiteId) -> bool) -> Vec<String> {
    let now = seen.instant.at;
    let here = seen.boats.iter().filter(|view| own(&view.state.site));
    let yards = here.filter(|view| view.boat.care != Care::Owner);
    yards
        .filter_map(|view| {
            let look = look(app, seen, view, now).ok().flatten()?;
            // What cold in sight presses on stands in the list itself.
            let pressed = |part: &&WeakPart| {
                let mut rows = view.rows.iter();
                rows.any(|row| {
                    row.circuit == part.system.circuit && row.priority > Priority::Notice
                })
            };
            let weak: Vec<&WeakPart> =
                look.past.weak.iter().filter(|part| !pressed(part)).collect();
            let mut parts: Vec<String> =
                weak.iter().map(|part| label_of(&app.catalogue, &part.system.circuit)).collect();
            parts.dedup();
            let most = weak.iter().map(|part| part.winters).max()?;
            let name = view.boat.name.trim();
            Some(format!("{name}: {}, {most} of {} winters", parts.join(", "), look.past.winters))
        })
        .collect()
}

/// What a boat's antifreeze would have come to.
struct Look {
    past: PastWinters,
    chance: f64,
    over: bool,
}

/// `None` where the place is heated or has no past seasons, or where nothing of dear parts holds antifreeze.
fn look(
    app: &AppContext,
    seen: &Assessment,
    view: &AssessedBoat,
    now: DateTime<Utc>,
) -> Result<Option<Look>, ServiceError> {
    let Some((site, past)) = past_of(app.past_archives(), seen, view) else { return Ok(None) };
    let (today, tolerance) = (today(site, now), app.settings.season.tolerance);
    let from = past.half.day_of(today);
    let said = PastWinters { winters: past.winters.len(), tolerance, ..PastWinters::default() };
    let mut found = Look { past: said, chance: 0.0, over: false };
    let mut needed: Option<f64> = Some(0.0);
    for circuit in &view.state.circuits {
        let Some((kind, solute, strength)) = filled_with(&app.catalogue, view, circuit, now) else {
            continue;
        };
        let come = |strength: f64, from: u32| {
            let liquid = Liquid::Blend { solute, mass_fraction: MassFraction::clamped(strength) };
            let passing = Passing { liquid, share: BURST_SHARE };
            let days = app.archives.passed(&past, &kind.thermal_class, passing)?;
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
        found.past.weak.push(WeakPart { system, first_ice, burst, winters });
        found.chance = found.chance.max(share);
        let day = first.and_then(|day| past.half.this_season(today, day));
        found.past.earliest = [found.past.earliest, day].into_iter().flatten().min();
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
    if !found.past.weak.is_empty() {
        found.past.holds_from = needed.map(Celsius::clamped);
    }
    Ok(Some(found))
}

fn today(site: &Site, now: DateTime<Utc>) -> NaiveDate {
    now.with_timezone(&site.time_zone).date_naive()
}

/// The antifreeze in a dear circuit and its strength by mass, where a record of some standing says so.
fn filled_with<'a>(
    catalogue: &'a Catalogue,
    view: &AssessedBoat,
    circuit: &CircuitState,
    now: DateTime<Utc>,
) -> Option<(&'a CircuitKind, Solute, f64)> {
    let kind = catalogue.circuit(&circuit.circuit)?;
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
