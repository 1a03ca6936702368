//! Nudges to lay up in time: from past seasons and the record to what each owner is told, decided by the pure core.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};

use crate::app::alerts::seasonal::{Book, Decided, earlier, owner_told, past_of, reader};
use crate::app::assess::{Assessment, BoatView};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::{Composer, label_of};
use crate::domain::alert::deadline::{Autumn, Word, decide_autumn};
use crate::domain::alert::{Decision, Kind, System, is_wet};
use crate::domain::boat::CircuitId;
use crate::domain::catalogue::Consequence;
use crate::domain::message::{Nudge, compose_deadline};
use crate::domain::risk::judge::interrupts;
use crate::domain::risk::plan::work::WorkTable;
use crate::domain::weather::seasons::{End, day_at};

/// What to do about a loop of engine coolant, as the catalogue calls it.
const TESTED_NOT_DRAINED: &str = "test_loop";

/// Decides every boat of the assessment whose place has past seasons. `decided` is what the same round came to about freezes.
///
/// # Errors
/// The store's, or a hole in the tables.
pub fn nudges(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    decided: &Decision,
    now: DateTime<Utc>,
) -> Result<Decided, ServiceError> {
    let mut nudged = Decided::default();
    let is_off = house.clock.doubt(now).is_some() || !house.settings.season.nudges;
    if is_off || house.settings.season.archives.is_empty() {
        return Ok(nudged);
    }
    let book = Book::read(house, Kind::Deadline, decided)?;
    let work = WorkTable::built_in(&house.catalogue)?;
    for view in &assessment.boats {
        let Some(look) = look(house, assessment, view, &work, now)? else { continue };
        let owner = owner_told(assessment, view);
        let autumn = Autumn {
            of: book.of(assessment, view, owner),
            wet: &look.wet,
            last_day: look.last_day,
            tolerance: house.settings.season.tolerance,
            minutes: look.minutes,
        };
        let Some((alert, transition, word)) = decide_autumn(&autumn, now) else { continue };
        if let (Some(word), Some((person, site))) = (word, reader(assessment, view, owner, &alert))
        {
            let label = |circuit: &CircuitId| label_of(house, circuit);
            let context = composer.context((person, site), &label, now);
            let wet: Vec<CircuitId> =
                look.wet.iter().map(|system| system.circuit.clone()).collect();
            let nudge = Nudge {
                alert: &alert.id,
                revision: alert.revision,
                earlier: &earlier(&alert, person),
                word,
                boat: (&view.boat, &view.state),
                wet: &wet,
                last_day: look.last_day,
                one_in: one_in(house.settings.season.tolerance),
                half_day: look.half_day,
                seasons: look.seasons,
                minutes: look.minutes,
                hours: house.working_hours(),
            };
            let letter = compose_deadline(&nudge, &context).map_err(|error| error.to_string());
            nudged.post((house, composer), &alert, (person, site), letter, word == Word::Done, now);
        }
        nudged.alerts.push(alert);
        nudged.transitions.push(transition);
    }
    Ok(nudged)
}

/// A tolerance as one in so many.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0.02 to 0.5")]
pub(crate) fn one_in(tolerance: f64) -> u32 {
    (1.0 / tolerance.clamp(0.02, 0.5)).round() as u32
}

/// What a boat still has in it, and by when it has to be out.
struct Look {
    wet: Vec<System>,
    last_day: NaiveDate,
    half_day: Option<NaiveDate>,
    seasons: usize,
    minutes: f64,
}

/// `None` where the place is heated or has no past seasons, or where no winter of them freezes any part.
fn look(
    house: &AppContext,
    assessment: &Assessment,
    view: &BoatView,
    work: &WorkTable,
    now: DateTime<Utc>,
) -> Result<Option<Look>, ServiceError> {
    let Some((site, past)) = past_of(house, assessment, view) else { return Ok(None) };
    let today = now.with_timezone(&site.time_zone).date_naive();
    let on = |day: u32| past.half.this_season(today, day);
    let tolerance = house.settings.season.tolerance;
    let mut found = Look {
        wet: Vec::new(),
        last_day: NaiveDate::MAX,
        half_day: None,
        seasons: past.winters.len(),
        minutes: 0.0,
    };
    let mut groups: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for circuit in &view.state.circuits {
        let Some(kind) = house.catalogue.circuit(&circuit.circuit) else { continue };
        let group = work.group_of(&circuit.circuit, &house.catalogue);
        if let Some(group) = group {
            groups.entry(group).or_default().1 += kind.drain_minutes;
        }
        let dear = kind.consequence_when(view.state.afloat) >= Consequence::Major;
        // A loop of engine coolant is tested, not drained: that its strength is not known is another matter.
        let loops = kind.action == TESTED_NOT_DRAINED;
        if !dear || loops || !is_wet(circuit.holds) || !interrupts(circuit, kind, view.state.afloat)
        {
            continue;
        }
        if let Some(group) = group {
            groups.entry(group).or_default().0 += kind.drain_minutes;
        }
        let days = house.first_and_last(&past, &kind.thermal_class)?;
        let (Some(bad), half) =
            (day_at(&days, End::First, tolerance), day_at(&days, End::First, 0.5))
        else {
            continue;
        };
        let Some(last) = bad.checked_sub(1).and_then(on) else { continue };
        found
            .wet
            .push(System { circuit: circuit.circuit.clone(), instance: circuit.instance.clone() });
        if last < found.last_day {
            (found.last_day, found.half_day) = (last, half.and_then(on));
        }
    }
    for (group, (open, all)) in groups.into_iter().filter(|(_, (open, _))| *open > 0.0) {
        if let Some(group) = work.groups().get(group) {
            let boat = &view.boat;
            let minutes = work.minutes(&boat.kind, &group.group, boat.engines, open, all);
            found.minutes += f64::from(minutes.complete);
        }
    }
    Ok(Some(found))
}
