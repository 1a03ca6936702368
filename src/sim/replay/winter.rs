//! The weather of a past winter laid over the winter of the record: which hours there are, and the play with them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Datelike as _, NaiveDate, TimeDelta, Utc};
use thiserror::Error;

use crate::app::context::{AppContext, ServiceError};
use crate::domain::boat::{BoatId, SiteId};
use crate::domain::season::Hemisphere;
use crate::domain::weather::Step;
use crate::domain::weather::drawn::{Drawn, KnownHours};
use crate::domain::yard::Site;
use crate::sim::replay::play::{Fleet, Rules, Weather, play};
use crate::sim::replay::score::Played;

/// Hours before the first look, so that the ice of that day is known.
const RUN_UP: TimeDelta = TimeDelta::days(8);
/// Hours after the last look that forecasts may speak of.
const RUN_OUT: TimeDelta = TimeDelta::days(10);
/// A shorter stretch of weather says too little.
const SPAN_LEAST: TimeDelta = TimeDelta::days(30);
/// Paths that are drawn at each look, at most; hours between looks; days of the past that make the ice.
const MEMBERS_MAX: usize = 64;
const EVERY_H: i64 = 6;
const PAST_DAYS: u16 = 7;

/// The air at each place by hours since 1970, C.
pub type PastAir = BTreeMap<SiteId, BTreeMap<i64, f64>>;

/// From one time until before another.
type Span = (DateTime<Utc>, DateTime<Utc>);

/// A winter that was played.
#[derive(Debug, Clone)]
pub struct Replayed {
    /// The year in which the winter of the weather began.
    pub weather: i32,
    /// The year in which the winter of the record began.
    pub record: i32,
    /// First and last look, in the time of the record.
    pub span: Span,
    /// The coldest hour of each place, C, before the place's own nights are allowed for.
    pub coldest_c: BTreeMap<SiteId, f64>,
    /// What came of it.
    pub played: Played,
}

/// Who and what is played: everybody and everything on the list, or one boat.
///
/// # Errors
/// The store's.
pub fn fleet(house: &AppContext, only: Option<&BoatId>) -> Result<Fleet, ServiceError> {
    let yard = house.yard()?;
    let events = house.events()?;
    let wanted = yard.boats.into_iter().filter(|boat| only.is_none_or(|id| boat.id == *id));
    let boats = wanted.map(|boat| {
        let mine = |event: &&_| concerns(event, &boat.id);
        let own = events.iter().filter(mine).cloned().collect();
        (boat, own)
    });
    Ok(Fleet {
        boats: boats.collect(),
        people: yard.people.into_values().collect(),
        sites: yard.sites,
    })
}

fn concerns(event: &crate::domain::boat::LayupEvent, boat: &BoatId) -> bool {
    event.boat.as_ref().is_none_or(|id| id == boat)
}

/// The winter in which the record was last written to, as the year in which it began; without a record the one of `today`.
#[must_use]
pub fn winter_of_record(fleet: &Fleet, today: NaiveDate) -> i32 {
    let half = fleet.sites.values().next().map_or(Hemisphere::Northern, Site::hemisphere);
    let events = fleet.boats.iter().flat_map(|(_, events)| events);
    let newest = events.map(|event| event.happened_at.date_naive()).max();
    half.year_of(newest.unwrap_or(today))
}

/// The winters of which the hours are whole from autumn to spring, by the year in which they began.
#[must_use]
pub fn whole_winters(hours: &BTreeMap<i64, f64>, half: Hemisphere) -> Vec<i32> {
    let year = |hour: &i64| DateTime::from_timestamp(hour * 3600, 0).map(|time| time.year());
    let (Some(first), Some(last)) =
        (hours.keys().next().and_then(year), hours.keys().next_back().and_then(year))
    else {
        return Vec::new();
    };
    let whole = |year: &i32| {
        window(half, *year).and_then(|span| KnownHours::bridged(hours, span)).is_some()
    };
    (first..=last).filter(whole).collect()
}

/// From ten weeks after the season's first day to two weeks before summer: archives of winters only have that and a run-up.
fn window(half: Hemisphere, year: i32) -> Option<Span> {
    let start = half.start(year)?.and_hms_opt(0, 0, 0)?.and_utc();
    Some((start + TimeDelta::days(72), start + TimeDelta::days(323)))
}

/// Why a winter cannot be played.
#[derive(Debug, Error)]
pub enum ReplayError {
    /// Too little weather.
    #[error(
        "the weather has less than {days} days of the winter {winter}-{ended:02} without a gap of more than 12 hours"
    )]
    Gaps {
        /// So many days there must be.
        days: i64,
        /// The year in which the winter began.
        winter: i32,
        /// The year in which it ended, of its century.
        ended: i32,
    },
}

impl From<ReplayError> for ServiceError {
    fn from(error: ReplayError) -> Self {
        Self::Outside(Box::new(error))
    }
}

/// Plays the weather of the winter `weather` over the record of the winter `record`.
///
/// # Errors
/// [`ReplayError`] as [`ServiceError::Outside`]: no place has enough weather of that winter; a hole in the tables.
pub fn replay(
    house: &AppContext,
    fleet: &Fleet,
    past: &PastAir,
    (weather, record): (i32, i32),
    seed: u64,
) -> Result<Replayed, ServiceError> {
    let mut drawn = BTreeMap::new();
    let mut span: Option<Span> = None;
    for (id, hours) in past {
        let Some(site) = fleet.sites.get(id) else { continue };
        let Some((known, own)) = laid_over(hours, site.hemisphere(), (weather, record)) else {
            continue;
        };
        span = Some(span.map_or(own, |(from, until)| (from.max(own.0), until.min(own.1))));
        let own_seed =
            seed ^ id.as_str().bytes().fold(7, |s: u64, b| s.wrapping_mul(31) + u64::from(b));
        drawn.insert(id.clone(), Drawn::new(known, own_seed));
    }
    let Some(span) = span.filter(|(from, until)| *until - *from >= SPAN_LEAST) else {
        let (days, ended) = (SPAN_LEAST.num_days(), (weather + 1).rem_euclid(100));
        return Err(ReplayError::Gaps { days, winter: weather, ended }.into());
    };
    let coldest_c = drawn
        .iter()
        .map(|(id, drawn)| {
            let air = drawn.truth().air_c.iter().copied();
            (id.clone(), air.fold(f64::INFINITY, f64::min))
        })
        .collect();
    let places: BTreeSet<&SiteId> = drawn.keys().collect();
    let sites = fleet.sites.iter().filter(|(id, _)| places.contains(id));
    let fleet = Fleet {
        sites: sites.map(|(id, site)| (id.clone(), site.clone())).collect(),
        ..fleet.clone()
    };
    let mut settings = house.settings.clone();
    settings.judge.members = settings.judge.members.min(MEMBERS_MAX);
    settings.judge.past_days = PAST_DAYS;
    settings.judge.seed = seed;
    let rules = Rules { settings, every_h: EVERY_H };
    let played = play(&fleet, &Sky(&drawn), &rules, span)?;
    Ok(Replayed { weather, record, span, coldest_c, played })
}

/// The hours of the winter `weather`, dated as those of `record`, and the looks that they allow.
fn laid_over(
    hours: &BTreeMap<i64, f64>,
    half: Hemisphere,
    (weather, record): (i32, i32),
) -> Option<(KnownHours, Span)> {
    let apart_h = (half.start(record)? - half.start(weather)?).num_hours();
    let hours: BTreeMap<i64, f64> =
        hours.iter().map(|(hour, air)| (hour + apart_h, *air)).collect();
    let (from, until) = window(half, record)?;
    let known = |hour: i64| DateTime::from_timestamp(hour * 3600, 0);
    let first = known(*hours.range((from - RUN_UP).timestamp() / 3600..).next()?.0)?;
    let last = known(*hours.range(..(until + RUN_OUT).timestamp() / 3600).next_back()?.0)?;
    let whole = KnownHours::bridged(&hours, (first, last + TimeDelta::hours(1)))?;
    Some((whole, ((first + RUN_UP).max(from), last.min(until))))
}

/// Forecasts drawn from what the air was.
struct Sky<'a>(&'a BTreeMap<SiteId, Drawn>);

impl Weather for Sky<'_> {
    fn newest(&self, site: &Site, now: DateTime<Utc>) -> Option<(DateTime<Utc>, Vec<Step>)> {
        self.0.get(&site.id)?.newest(now)
    }

    fn past(&self, site: &Site, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step> {
        let truth = self.0.get(&site.id).map(Drawn::truth);
        (0..(until - from).num_hours())
            .map(|hour| from + TimeDelta::hours(hour))
            .map(|time| Step {
                temperature_c: truth.and_then(|truth| truth.at(time)),
                ..Step::empty(time)
            })
            .collect()
    }
}
