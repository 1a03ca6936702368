//! Kind `deadline`: nudges to lay up in time, from past seasons and the record to what each owner is told.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::gathering::Gathering;
use super::seasonal::{Freezes, concerned, past_of};
use crate::app::assess::AssessedBoat;
use crate::app::error::ServiceError;
use crate::domain::alert::deadline::Autumn;
use crate::domain::alert::{Decision, DecisionInput, Kind, System, decide, is_wet};
use crate::domain::catalogue::Consequence;
use crate::domain::risk::judge::interrupts;
use crate::domain::risk::plan::work::WorkTable;
use crate::domain::weather::seasons::{End, day_at};
use crate::domain::yard::recipients;

/// What to do about a loop of engine coolant, as the catalogue calls it.
const TESTED_NOT_DRAINED: &str = "test_loop";

/// Decides every boat of the assessment whose place has past seasons.
///
/// # Errors
/// The store's, or a hole in the tables.
pub(super) fn nudges(
    gathering: &Gathering<'_>,
    decided: &mut Decision,
) -> Result<(), ServiceError> {
    let Gathering { app, seen, now, .. } = *gathering;
    let is_off = app.clock.doubt(now).is_some() || !app.settings.season.nudges;
    if is_off || app.settings.season.archives.is_empty() {
        return Ok(());
    }
    let freezes = Freezes::of(gathering.open, decided);
    let work = WorkTable::built_in(&app.catalogue)?;
    for view in &seen.boats {
        let Some(look) = look(gathering, view, &work)? else { continue };
        let closed = super::open_alerts::last_closed(&*app.store, Kind::Deadline, &view.boat.id)?;
        let owner = recipients::of_season(&seen.yard.people, &view.boat);
        let autumn = Autumn {
            of: concerned(gathering, (Kind::Deadline, view), owner, closed.as_ref(), &freezes),
            wet: &look.wet,
            last_day: look.last_day,
            tolerance: app.settings.season.tolerance,
            minutes: look.minutes,
            half_day: look.half_day,
            seasons: look.seasons,
        };
        decided.extend(decide(DecisionInput::Deadline(&autumn), now));
    }
    Ok(())
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
    gathering: &Gathering<'_>,
    view: &AssessedBoat,
    work: &WorkTable,
) -> Result<Option<Look>, ServiceError> {
    let Gathering { app, seen, now, .. } = *gathering;
    let Some((site, past)) = past_of(app.past_archives(), seen, view) else { return Ok(None) };
    let today = now.with_timezone(&site.time_zone).date_naive();
    let on = |day: u32| past.half.this_season(today, day);
    let tolerance = app.settings.season.tolerance;
    let mut found = Look {
        wet: Vec::new(),
        last_day: NaiveDate::MAX,
        half_day: None,
        seasons: past.winters.len(),
        minutes: 0.0,
    };
    let mut groups: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for circuit in &view.state.circuits {
        let Some(kind) = app.catalogue.circuit(&circuit.circuit) else { continue };
        let group = work.group_of(&circuit.circuit, &app.catalogue);
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
        let days = app.archives.first_and_last(&past, &kind.thermal_class)?;
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
