//! One look over the yard at an instant: the weather of each place, what each boat holds, and every circuit against
//! the coming cold. Reads only; nothing is decided or sent here.

pub mod archives;
pub mod bias;
pub mod bias_cache;
pub mod blend_separation;
pub mod exposures;
pub mod forecast_cache;
pub mod heating;
pub mod outlook;
mod past_hours;
pub mod past_seasons;
pub mod notices;
mod seen;
pub mod view;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::assess::blend_separation::remember;
use crate::app::assess::heating::heating;
use crate::app::assess::notices::notices_at;
use crate::app::assess::outlook::outlook_of;
use crate::app::assess::past_hours::{past_of, past_with, readings_of, usual_air};
use crate::app::context::{AppContext, ServiceError};
use crate::app::parallel::{Threads, on_threads};
use crate::app::ports::NightStore;
use crate::app::settings::Settings;
use crate::domain::alert::Low;
use crate::domain::boat::{Boat, BoatId, BoatState, LayupEvent, PersonId, SiteId, fold};
use crate::domain::catalogue::Catalogue;
use crate::domain::risk::ambient::{Heat, PlacePast, PlaceWeather};
use crate::domain::risk::judge::Judge;
use crate::domain::risk::plan::work::WorkTable;
use crate::domain::weather::errors::{Ensemble, ErrorModel};
use crate::domain::weather::measured;
use crate::domain::weather::place;
use crate::domain::yard::{Person, Site};
pub use seen::{AsOf, AssessedBoat, AssessedPlace, Assessment, whole_hour};

/// A reading no older than this is shown as the present.
const MEASURED_NOW: TimeDelta = TimeDelta::hours(2);

/// So many boats are folded in one go by one thread.
const BOATS_A_HAND: usize = 64;

/// Looks over the yard; `only` narrows it to places for which it says yes.
///
/// # Errors
/// The store's, or a hole in the tables.
pub fn assess(
    house: &AppContext,
    instant: AsOf,
    only: impl Fn(&SiteId) -> bool,
) -> Result<Assessment, ServiceError> {
    let (mut yard, forecasts) = (house.yard()?, house.forecasts());
    for site in yard.sites.values_mut() {
        *site = forecasts.bias_corrected(&house.lessons, site.clone(), instant)?;
    }
    let hour = whole_hour(instant.at);
    let events = house.events()?;
    // Sorted out once: each boat's own, and those about whole places.
    let mut of_boat: BTreeMap<Option<&BoatId>, Vec<&LayupEvent>> = BTreeMap::new();
    for event in events.iter() {
        of_boat.entry(event.boat.as_ref()).or_default().push(event);
    }
    let of_places = of_boat.get(&None);
    let fold_one = |boat: &Boat| {
        let own = of_boat.get(&Some(&boat.id)).into_iter().chain(of_places).flatten();
        let own: Vec<&LayupEvent> = own.copied().collect();
        fold(boat, &yard.sites, &own, instant.at, instant.known_at, &house.catalogue)
    };
    let some: Vec<&[Boat]> = yard.boats.chunks(BOATS_A_HAND).collect();
    let folded = on_threads(some, |boats| {
        Ok(boats.iter().map(|boat| (boat, fold_one(boat))).collect::<Vec<_>>())
    })?;
    let mut folded: Vec<(&Boat, BoatState)> = folded.into_iter().flatten().collect();
    let separated = house.store.separated(instant.known_at)?;
    if !separated.is_empty() {
        folded.iter_mut().for_each(|(_, state)| remember(state, &separated));
    }
    let heat_of = |site: &Site| {
        let said = of_places.map_or(&[][..], Vec::as_slice);
        let known: (&dyn NightStore, _) = (&*house.store, &house.catalogue);
        heating(known, site, said, instant).map(|heating| heating.heat)
    };
    let wanted: Vec<&Site> = yard.sites.values().filter(|site| only(&site.id)).collect();
    let views = on_threads(wanted, |site| view(house, site, instant, hour, || heat_of(site)))?;
    let mut places: BTreeMap<SiteId, AssessedPlace> =
        views.into_iter().map(|view| (view.site.id.clone(), view)).collect();
    let here = folded.iter().map(|(_, state)| state).filter(|state| only(&state.site));
    let left: BTreeSet<&SiteId> = here.flat_map(left_places).collect();
    let mut elsewhere = BTreeMap::new();
    for site in left.into_iter().filter_map(|site| yard.sites.get(site)) {
        let (past, heat) = (past_of(house, site, instant, hour)?, heat_of(site)?);
        let (usual, site) = (usual_air(house, site), site.clone());
        elsewhere.insert(site.id.clone(), PlacePast { site, past, heat, usual });
    }
    let elsewhere = Arc::new(elsewhere);
    for weather in places.values_mut().filter_map(|place| place.weather.as_mut()) {
        weather.elsewhere = Arc::clone(&elsewhere);
    }
    let states: Vec<(Boat, BoatState)> = folded
        .into_iter()
        .filter(|(_, state)| only(&state.site))
        .map(|(boat, state)| (boat.clone(), state))
        .collect();
    let (settings, catalogue) = (&house.settings, &house.catalogue);
    let judging = Judging { settings, catalogue, people: &yard.people };
    let boats = judge_all(judging, states, &places)?;
    let until_stated = hour + TimeDelta::hours(i64::from(house.settings.judge.horizon_h));
    let until = hour + TimeDelta::hours(i64::from(house.settings.judge.told_h()));
    Ok(Assessment { instant, until, until_stated, places, boats, yard })
}

/// The places from which a boat has come.
pub(crate) fn left_places(state: &BoatState) -> impl Iterator<Item = &SiteId> {
    state.earlier.iter().map(|stay| &stay.site).filter(|site| **site != state.site)
}

/// What boats are judged by, besides the weather.
#[derive(Clone, Copy)]
struct Judging<'a> {
    settings: &'a Settings,
    catalogue: &'a Catalogue,
    /// Owners may wish to hear at another chance.
    people: &'a BTreeMap<PersonId, Person>,
}

/// Judges place by place: what circuits of one place have in common is computed once.
fn judge_all(
    by: Judging<'_>,
    states: Vec<(Boat, BoatState)>,
    places: &BTreeMap<SiteId, AssessedPlace>,
) -> Result<Vec<AssessedBoat>, ServiceError> {
    let mut by_place: BTreeMap<SiteId, Vec<(Boat, BoatState)>> = BTreeMap::new();
    for (boat, state) in states {
        by_place.entry(state.site.clone()).or_default().push((boat, state));
    }
    // Where only one place is looked at, its cases are shared among the threads instead.
    let alone = by_place.len() == 1;
    let mut by_place: Vec<_> = by_place.into_iter().collect();
    // The largest first, so that none is left over for one thread at the end.
    by_place.sort_by_key(|(_, boats)| std::cmp::Reverse(boats.len()));
    let judged = on_threads(by_place, |(site, boats)| {
        let weather = places.get(&site).and_then(|place| place.weather.as_ref());
        judge_place(by, weather, boats, alone)
    })?;
    let mut boats: Vec<AssessedBoat> = judged.into_iter().flatten().collect();
    boats.sort_by(|a, b| a.boat.id.cmp(&b.boat.id));
    Ok(boats)
}

fn judge_place(
    by: Judging<'_>,
    weather: Option<&PlaceWeather>,
    boats: Vec<(Boat, BoatState)>,
    alone: bool,
) -> Result<Vec<AssessedBoat>, ServiceError> {
    let work = WorkTable::built_in(by.catalogue)?;
    let told_h = usize::from(by.settings.judge.told_h());
    let mut judge =
        weather.map(|w| Judge::new(w, by.catalogue, by.settings.judge_settings()).with_work(&work));
    if let Some(judge) = judge.as_mut().filter(|_| alone) {
        judge.prepare(boats.iter().map(|(_, state)| state), &Threads);
    }
    boats
        .into_iter()
        .map(|(boat, state)| {
            let (rows, stated, if_power_fails) = match &mut judge {
                Some(judge) => {
                    let owner = boat.owner.as_ref().and_then(|owner| by.people.get(owner));
                    let wish = owner.and_then(|owner| owner.tell_at_chance);
                    let rows = judge.boat_within((&boat, &state), wish, told_h)?;
                    let stated = judge.boat_for((&boat, &state), wish)?;
                    (rows, stated, judge.if_power_fails(&state)?)
                }
                None => Default::default(),
            };
            Ok(AssessedBoat { boat, state, rows, stated, if_power_fails })
        })
        .collect()
}

fn view(
    house: &AppContext,
    site: &Site,
    instant: AsOf,
    hour: DateTime<Utc>,
    heat: impl FnOnce() -> Result<Heat, ServiceError>,
) -> Result<AssessedPlace, ServiceError> {
    let (judge, forecasts) = (house.settings.judge, house.forecasts());
    let (forecast, state) = outlook_of(forecasts, site, instant)?;
    let mut seen = AssessedPlace {
        site: site.clone(),
        forecast,
        state,
        low: None,
        low_stated: None,
        measured: None,
        official: notices_at(forecasts.store, &site.id, instant)?,
        weather: None,
    };
    let readings = readings_of(house, site, instant, hour)?;
    seen.measured = measured::newest(&readings, instant.at, MEASURED_NOW).cloned();
    let Some(forecast) = &seen.forecast else { return Ok(seen) };
    let local = place::at_the_place(site, &forecast.steps);
    let ahead = local.iter().filter(|step| step.time >= hour).take(usize::from(judge.told_h()));
    let coming: Vec<_> = ahead.copied().collect();
    if coming.is_empty() {
        return Ok(seen);
    }
    let past = past_with(house, site, instant, hour, &readings)?;
    let lead_h = (hour - forecast.issued_at).as_seconds_f64().max(0.0) / 3600.0;
    let seed = judge.seed ^ place_seed(&site.id);
    let paths = Ensemble::around(&coming, lead_h, &error_model(site), &house.standard_errors(seed));
    seen.low = low(&paths, hour, usize::from(judge.told_h()));
    seen.low_stated = low(&paths, hour, usize::from(judge.horizon_h));
    let usual = usual_air(house, site);
    let (site, heat, elsewhere) = (site.clone(), heat()?, Arc::default());
    seen.weather =
        Some(PlaceWeather { site, at: hour, past, coming, paths, heat, elsewhere, usual });
    Ok(seen)
}

/// The errors of a place's forecasts: as far as its own thermometer has told its spread, with that.
pub(crate) fn error_model(site: &Site) -> ErrorModel {
    let usual = ErrorModel::default();
    let place_sd_k = site.own_nights.map_or(usual.place_sd_k, |own| own.place_sd_k);
    ErrorModel { place_sd_k, ..usual }
}

/// The coldest hour of each member until the horizon: median and 10 and 90 % quantiles, at the hour that is coldest in
/// the middle of the members.
#[must_use]
pub fn low(paths: &Ensemble, from: DateTime<Utc>, hours: usize) -> Option<Low> {
    let mut lowest = vec![f32::INFINITY; paths.members()];
    let mut coldest = (f32::INFINITY, 0_usize);
    let mut sorted = Vec::with_capacity(paths.members());
    for (hour, air) in paths.by_hour().take(hours).enumerate() {
        for (low, t) in lowest.iter_mut().zip(air) {
            *low = low.min(*t);
        }
        sorted.clear();
        sorted.extend_from_slice(air);
        let median = quantile(&mut sorted, 0.5)?;
        if median < coldest.0 {
            coldest = (median, hour);
        }
    }
    let mut at = |share| quantile(&mut lowest, share).map(f64::from);
    Some(Low {
        time: from + TimeDelta::hours(i64::try_from(coldest.1).ok()?),
        median_c: at(0.5)?,
        p10_c: at(0.1)?,
        p90_c: at(0.9)?,
    })
}

fn quantile(values: &mut [f32], share: f64) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    let last = values.len() - 1;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "an index below a few thousand"
    )]
    let index = (share * last as f64).round() as usize;
    let (_, found, _) = values.select_nth_unstable_by(index.min(last), f32::total_cmp);
    Some(*found)
}

/// A number from a name, so that each place has errors of its own (FNV-1a).
fn place_seed(site: &SiteId) -> u64 {
    site.as_str().bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}
