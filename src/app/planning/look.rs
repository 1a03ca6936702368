//! From a look over the yard to open work: every hour that the forecasts have, carried on beyond their end.

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::assess::{AssessedBoat, AssessedPlace, Assessment, error_model, whole_hour};
use crate::app::context::{AppContext, ServiceError};
use crate::app::parallel::on_threads;
use crate::app::planning::row::WhatIf;
use crate::app::settings::Judge;
use crate::domain::boat::SiteId;
use crate::domain::risk::ambient::PlaceWeather;
use crate::domain::risk::plan::beyond::{Wander, carried_on};
use crate::domain::risk::plan::boat::{BoatLook, BoatWork, Evenings, Tolerance};
use crate::domain::risk::plan::crew::WorkDay;
use crate::domain::risk::plan::passage::Passages;
use crate::domain::risk::plan::work::WorkTable;
use crate::domain::weather::errors::Ensemble;
use crate::domain::weather::place;

/// Weather paths for a plan, at most: it looks three weeks ahead, where chances need no second digit.
const MEMBERS_MAX: usize = 128;

/// The open work of every boat that can be judged.
pub(crate) struct Looked<'a> {
    pub boats: Vec<(&'a AssessedBoat, BoatWork)>,
    pub cannot_say: Vec<(SiteId, usize)>,
    pub forecast_until: Option<DateTime<Utc>>,
    /// Places that go on along the season without past seasons of their own.
    pub without_past: usize,
}

/// Looks at every boat through all hours of the forecast and the season after it.
pub(crate) fn look<'a>(
    house: &AppContext,
    seen: &'a Assessment,
    what_if: &WhatIf,
    days: &[WorkDay],
) -> Result<Looked<'a>, ServiceError> {
    let table = WorkTable::built_in(&house.catalogue)?;
    let wander = Wander::built_in()?;
    let evenings = Evenings(days.iter().map(|day| day.evening).collect());
    let tolerance = Tolerance::severe(what_if.tolerance.unwrap_or(house.settings.crew.tolerance));
    let at = whole_hour(seen.instant.at);
    let hours = days.last().map_or(0, |day| (day.evening - at).num_hours() + 1);
    let hours = usize::try_from(hours).unwrap_or(0);
    let places = on_threads(seen.places.iter().collect(), |(id, place)| {
        let here: Vec<&AssessedBoat> =
            seen.boats.iter().filter(|view| view.state.site == *id).collect();
        let Some(weather) = all_hours(house.settings.judge, place, at, what_if.colder_k) else {
            return Ok((id, Err(here.len())));
        };
        let until = at + TimeDelta::hours(i64::try_from(weather.coming.len()).unwrap_or(0));
        // A plan without past seasons is better than none.
        let past = house.past_archives().of(&place.site).unwrap_or_else(|error| {
            tracing::warn!("{id}: planned without past seasons: {error}");
            None
        });
        let normal = |date| past.as_ref().and_then(|past| past.normals.on(date));
        let weather = carried_on(&weather, &wander, &normal, hours, house.settings.judge.seed);
        let passages = Passages::new(&weather, &house.catalogue);
        let mut look = BoatLook::new(passages, &table, &evenings, tolerance);
        let work = |view: &'a AssessedBoat| {
            let owner = view.boat.owner.as_ref().and_then(|owner| seen.yard.people.get(owner));
            let wish = owner.and_then(|owner| owner.tell_at_chance);
            Ok((view, look.boat((&view.boat, &view.state), wish)?))
        };
        let boats: Result<Vec<_>, ServiceError> = here.into_iter().map(work).collect();
        Ok((id, Ok((until, past.is_some(), boats?))))
    })?;
    let mut looked =
        Looked { boats: Vec::new(), cannot_say: Vec::new(), forecast_until: None, without_past: 0 };
    for (id, place) in places {
        match place {
            Ok((until, past, boats)) => {
                looked.without_past += usize::from(!past);
                let known = looked.forecast_until.unwrap_or(until);
                looked.forecast_until = Some(known.min(until));
                looked.boats.extend(boats);
            }
            Err(0) => {}
            Err(unseen) => looked.cannot_say.push((id.clone(), unseen)),
        }
    }
    looked.boats.sort_by(|a, b| a.0.boat.id.cmp(&b.0.boat.id));
    Ok(looked)
}

/// The weather of a place with every hour that the forecast has: a look over the yard keeps only its horizon. One seed for
/// all places, so that the same cold meets them all.
fn all_hours(
    judge: Judge,
    place: &AssessedPlace,
    at: DateTime<Utc>,
    colder_k: f64,
) -> Option<PlaceWeather> {
    let (forecast, weather) = (place.forecast.as_ref()?, place.weather.as_ref()?);
    let steps = place::at_the_place(&place.site, &forecast.steps);
    let mut coming: Vec<_> = steps.into_iter().filter(|step| step.time >= at).collect();
    // A service may end with hours that have no temperature.
    while coming.last().is_some_and(|step| step.temperature_c.is_none()) {
        coming.pop();
    }
    let lead_h = (at - forecast.issued_at).as_seconds_f64().max(0.0) / 3600.0;
    let paths = Ensemble::draw(
        &coming,
        lead_h,
        &error_model(&place.site),
        judge.members.min(MEMBERS_MAX),
        judge.seed,
    );
    // After the draw: errors grow with the cold that was forecast, and the question is not about them.
    let paths = paths.map_hours(|_, air| {
        for celsius in air {
            *celsius -= narrow(colder_k);
        }
    });
    for step in &mut coming {
        step.temperature_c = step.temperature_c.map(|t| t - colder_k);
    }
    Some(PlaceWeather { coming, paths, ..weather.clone() })
}

#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(kelvin: f64) -> f32 {
    kelvin as f32
}
