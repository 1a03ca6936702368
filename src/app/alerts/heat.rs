//! Kind `heat`: the heat of heated places, from the record and the thermometer to what those who run them are told.

use chrono::{DateTime, TimeDelta, Utc};

use super::gathering::Gathering;
use crate::app::assess::heating::heating;
use crate::app::assess::{AssessedBoat, AssessedPlace, Assessment};
use crate::app::error::ServiceError;
use crate::app::ports::NightStore;
use crate::domain::alert::heat::{HeatedPlace, Outside, Trouble};
use crate::domain::alert::{Decision, DecisionInput, Kind, System, decide, is_wet};
use crate::domain::boat::{LayupEvent, SiteId};
use crate::domain::message::InTheShed;
use crate::domain::risk::{CircuitRisk, Priority, power};
use crate::domain::yard::recipients::{self, FirstAndNext};
use crate::domain::yard::{Site, SiteKind};

/// Decides every heated place of the assessment.
///
/// # Errors
/// The store's, or a hole in the tables.
pub(super) fn heats(gathering: &Gathering<'_>, decided: &mut Decision) -> Result<(), ServiceError> {
    let places = gathering.seen.places.values();
    let heated: Vec<&AssessedPlace> =
        places.filter(|place| place.site.kind == SiteKind::IndoorHeated).collect();
    if heated.is_empty() {
        return Ok(());
    }
    let events = gathering.app.events()?;
    let said: Vec<&LayupEvent> = events.iter().filter(|event| event.boat.is_none()).collect();
    let known: (&dyn NightStore, _) = (&*gathering.app.store, &gathering.app.catalogue);
    for place in heated {
        let trouble = heating(known, &place.site, &said, gathering.seen.instant)?.trouble;
        heat(gathering, place, trouble, decided);
    }
    Ok(())
}

fn heat(
    gathering: &Gathering<'_>,
    place: &AssessedPlace,
    trouble: Option<Trouble>,
    decided: &mut Decision,
) {
    let Gathering { app, seen, open, now, .. } = *gathering;
    let site = &place.site.id;
    let boats = boats_in(seen, place, trouble, now);
    let in_danger = match place.weather.is_some() {
        // A heater that gives way can be mended before anything is in danger.
        true if matches!(trouble, Some(Trouble::Low { .. })) => holds_water(seen, site),
        true => boats.iter().any(|line| line.frozen || line.danger.is_some()),
        false => is_cold_half(&place.site, now) && holds_water(seen, site),
    };
    let FirstAndNext { first, next } = recipients::of_heat(&seen.yard.people, site);
    let low = place.low.filter(|_| place.weather.is_some());
    let settings = &app.settings.alert;
    let heated = HeatedPlace {
        site,
        managers: &first,
        next: &next,
        trouble,
        boats: boats.len(),
        in_danger,
        outside: Outside::of(low.map(|low| low.p10_c), settings.deadband_k),
        chance: greatest_chance(seen, site),
        issued_at: place.forecast.as_ref().map(|forecast| forecast.issued_at),
        open: open.of(Kind::Heat, site.as_str()),
        episodes_closed: open.closed(Kind::Heat, site.as_str()),
        settings,
    };
    decided.extend(decide(DecisionInput::Heat(&heated), now));
}

fn views<'a>(seen: &'a Assessment, site: &SiteId) -> impl Iterator<Item = &'a AssessedBoat> {
    let site = site.clone();
    seen.boats.iter().filter(move |view| view.state.site == site && !view.state.afloat)
}

/// From October to April, south of the line from April to October.
fn is_cold_half(site: &Site, now: DateTime<Utc>) -> bool {
    site.hemisphere().is_cold_half(now.with_timezone(&site.time_zone).date_naive())
}

/// Does a boat in it hold water in anything that breaks, by the record?
fn holds_water(seen: &Assessment, site: &SiteId) -> bool {
    views(seen, site).flat_map(|view| &view.state.circuits).any(|circuit| is_wet(circuit.holds))
}

fn greatest_chance(seen: &Assessment, site: &SiteId) -> f64 {
    let rows = views(seen, site).flat_map(|view| &view.rows);
    rows.map(|row| row.chance_limit).fold(0.0, f64::max)
}

/// The boats that stand in the place, the one with the least time first.
pub(crate) fn boats_in<'a>(
    seen: &'a Assessment,
    place: &AssessedPlace,
    trouble: Option<Trouble>,
    now: DateTime<Utc>,
) -> Vec<InTheShed<'a>> {
    // By the record the heat is on: what each boat would have from now on.
    let silent = matches!(trouble, Some(Trouble::Silent { .. }));
    let mut boats: Vec<InTheShed<'a>> = views(seen, &place.site.id)
        .map(|view| if silent { were_it_off(view, now) } else { as_judged(view) })
        .collect();
    boats.sort_by_key(|line| (!line.frozen, line.danger.is_none(), line.danger));
    boats
}

fn as_judged(view: &AssessedBoat) -> InTheShed<'_> {
    // What froze elsewhere and has thawed says nothing of this shed.
    let pressing = || {
        let asks = |row: &&CircuitRisk| row.priority > Priority::Notice && !row.ice.thawed;
        view.rows.iter().filter(asks)
    };
    let soonest = pressing()
        .filter(|row| row.frozen_now || row.first_danger.is_some())
        .min_by_key(|row| (!row.frozen_now, row.first_danger));
    InTheShed {
        boat: (&view.boat, &view.state),
        first: soonest.map(|row: &CircuitRisk| System::of(row)),
        danger: soonest.and_then(|row| row.first_danger),
        frozen: soonest.is_some_and(|row| row.frozen_now),
        minutes: pressing().filter(|row| !row.frozen_now).map(|row| row.minutes.max(0.0)).sum(),
        parts: pressing().filter(|row| !row.frozen_now).map(System::of).collect(),
    }
}

fn were_it_off(view: &AssessedBoat, now: DateTime<Utc>) -> InTheShed<'_> {
    let soonest = power::soonest(&view.if_power_fails);
    let hours = soonest.and_then(power::PowerLoss::sure_h);
    InTheShed {
        boat: (&view.boat, &view.state),
        first: soonest
            .map(|loss| System { circuit: loss.circuit.clone(), instance: loss.instance.clone() }),
        danger: hours.map(|hours| now + minutes(hours * 60.0)),
        frozen: false,
        minutes: 0.0,
        parts: Vec::new(),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "hours of a forecast")]
fn minutes(minutes: f64) -> TimeDelta {
    TimeDelta::minutes(minutes.clamp(0.0, 1.0e6) as i64)
}
