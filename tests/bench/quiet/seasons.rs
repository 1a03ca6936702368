//! Recorded seasons, and forecasts of them as they might have been.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use chrono::{DateTime, Datelike, NaiveDateTime, TimeDelta, TimeZone, Utc};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use rimeward::domain::weather::Step;
use rimeward::domain::weather::errors::ErrorModel;
use rimeward::domain::yard::Site;

use super::play::Weather;

/// Hours ahead that are forecast.
const AHEAD_H: usize = 240;
/// Hours between issues.
const ISSUE_H: i64 = 6;
/// A gap in the record of this many hours is bridged; a season with a longer one is left out.
const GAP_H: usize = 12;
/// Days of a season: 20 September to 30 April.
const SEASON_DAYS: i64 = 222;

/// One winter at one station; standard time is taken for UTC-5, since the stations' own hours do not matter here.
pub struct Season {
    pub station: String,
    pub year: i32,
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
    pub coldest_c: f64,
    pub air_c: Vec<f64>,
}

/// Reads every complete season.
pub fn read(path: &Path) -> Result<Vec<Season>, String> {
    let out = Command::new("gzip")
        .arg("-dc")
        .arg(path)
        .output()
        .map_err(|error| format!("unpacking {}: {error}", path.display()))?;
    if !out.status.success() {
        return Err(format!("unpacking {} failed", path.display()));
    }
    let text = String::from_utf8_lossy(&out.stdout);
    let mut stations: BTreeMap<&str, BTreeMap<i64, f64>> = BTreeMap::new();
    for line in text.lines().skip(1) {
        let mut fields = line.split(',');
        let (Some(station), Some(time), Some(value)) =
            (fields.next(), fields.next(), fields.next())
        else {
            continue;
        };
        let time = NaiveDateTime::parse_from_str(time, "%Y-%m-%d %H:%M");
        if let (Ok(time), Ok(value)) = (time, value.parse::<f64>()) {
            let hour = (time.and_utc() + TimeDelta::hours(5)).timestamp().div_euclid(3600);
            stations.entry(station).or_default().insert(hour, value);
        }
    }
    let mut seasons = Vec::new();
    for (station, hours) in &stations {
        let years =
            hours.keys().filter_map(|h| DateTime::from_timestamp(h * 3600, 0)).map(|t| t.year());
        let (Some(first), Some(last)) = (years.clone().min(), years.max()) else { continue };
        for year in first..=last {
            seasons.extend(season(station, year, hours));
        }
    }
    Ok(seasons)
}

fn season(station: &str, year: i32, hours: &BTreeMap<i64, f64>) -> Option<Season> {
    let from = Utc.with_ymd_and_hms(year, 9, 20, 5, 0, 0).single()?;
    let until = from + TimeDelta::days(SEASON_DAYS);
    let (first, last) =
        (from.timestamp() / 3600, until.timestamp() / 3600 + i64::try_from(AHEAD_H).ok()?);
    let mut air_c = Vec::new();
    let mut gap = 0;
    let mut before = *hours.range(..=first).next_back()?.1;
    for hour in first..last {
        match hours.get(&hour) {
            Some(value) => {
                let missing = air_c.len().checked_sub(gap)?;
                let steps = f64::from(u32::try_from(gap + 1).ok()?);
                for (index, slot) in air_c.iter_mut().skip(missing).enumerate() {
                    let share = f64::from(u32::try_from(index + 1).ok()?) / steps;
                    *slot = before + (value - before) * share;
                }
                air_c.push(*value);
                (before, gap) = (*value, 0);
            }
            // The last days are only forecast.
            None if hour > until.timestamp() / 3600 => air_c.push(before),
            None => {
                gap += 1;
                if gap > GAP_H {
                    return None;
                }
                air_c.push(before);
            }
        }
    }
    let coldest_c = air_c.iter().copied().fold(f64::INFINITY, f64::min);
    Some(Season { station: station.to_owned(), year, from, until, coldest_c, air_c })
}

/// Forecasts of a season: what no forecast knows of an hour stays from issue to issue; what becomes known of it between
/// two issues is drawn once, so that the error shrinks as the hour comes near.
pub struct Drawn<'a> {
    season: &'a Season,
    /// Standard normal paths, one for the hour itself and one for each issue's news.
    unknown: Vec<f64>,
    news: Vec<Vec<f64>>,
    model: ErrorModel,
}

impl<'a> Drawn<'a> {
    pub fn new(season: &'a Season, seed: u64) -> Self {
        let model = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let hours = season.air_c.len();
        let issues = hours / usize::try_from(ISSUE_H).unwrap_or(6) + 1;
        let unknown = path(hours, 0.0, &model, &mut rng);
        let news =
            (0..issues).map(|_| path(AHEAD_H + 6, model.shift_share, &model, &mut rng)).collect();
        Self { season, unknown, news, model }
    }

    fn index(&self, at: DateTime<Utc>) -> Option<usize> {
        usize::try_from((at - self.season.from).num_hours()).ok()
    }

    fn error_k(&self, issued: usize, hour: usize) -> Option<f64> {
        let truth = *self.season.air_c.get(hour)?;
        let step = usize::try_from(ISSUE_H).ok()?;
        let sd = |lead: usize| self.model.sd(f64::from(u32::try_from(lead).unwrap_or(0)), truth);
        let mut error = sd(0) * self.unknown.get(hour)?;
        // The news that come after this issue and before the hour.
        let mut issue = issued + step;
        while issue <= hour {
            let (near, far) = (sd(hour - issue), sd(hour - issue + step));
            let fresh = (far * far - near * near).max(0.0).sqrt();
            error += fresh * self.news.get(issue / step)?.get(hour - issue)?;
            issue += step;
        }
        Some(error)
    }
}

/// A path with the correlation of the error model: a shift and an AR(1) part, each of unit variance together.
fn path(
    hours: usize,
    shift_share: f64,
    model: &ErrorModel,
    rng: &mut Xoshiro256PlusPlus,
) -> Vec<f64> {
    let keep = (-1.0 / model.decay_h).exp();
    let (shift, mut wander) = (normal(rng), normal(rng));
    (0..hours)
        .map(|_| {
            wander = keep * wander + (1.0 - keep * keep).sqrt() * normal(rng);
            shift_share.sqrt() * shift + (1.0 - shift_share).sqrt() * wander
        })
        .collect()
}

/// Box and Muller 1958.
fn normal(rng: &mut Xoshiro256PlusPlus) -> f64 {
    let mut unit =
        || (f64::from(u32::try_from(rng.next_u64() >> 32).unwrap_or(0)) + 0.5) / 4_294_967_296.0;
    (-2.0 * unit().ln()).sqrt() * (std::f64::consts::TAU * unit()).cos()
}

impl Weather for Drawn<'_> {
    fn newest(&self, _: &Site, now: DateTime<Utc>) -> Option<(DateTime<Utc>, Vec<Step>)> {
        let step = usize::try_from(ISSUE_H).ok()?;
        let issued = self.index(now)? / step * step;
        let issued_at = self.season.from + TimeDelta::hours(i64::try_from(issued).ok()?);
        let hours = (issued..issued + AHEAD_H).filter_map(|hour| {
            let truth = *self.season.air_c.get(hour)?;
            let time = self.season.from + TimeDelta::hours(i64::try_from(hour).ok()?);
            let forecast = truth - self.error_k(issued, hour)?;
            Some(Step { temperature_c: Some(forecast), ..Step::empty(time) })
        });
        Some((issued_at, hours.collect()))
    }

    fn past(&self, _: &Site, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step> {
        let hours = (until - from).num_hours();
        (0..hours)
            .map(|hour| from + TimeDelta::hours(hour))
            .map(|time| {
                let truth = self.index(time).and_then(|index| self.season.air_c.get(index));
                Step { temperature_c: truth.copied(), ..Step::empty(time) }
            })
            .collect()
    }
}
