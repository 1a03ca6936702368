//! Recorded seasons, and forecasts of them as they might have been.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use chrono::{DateTime, Datelike, NaiveDateTime, TimeDelta, TimeZone, Utc};
use rimeward::domain::weather::Step;
use rimeward::domain::weather::drawn::{AHEAD_H, Drawn, KnownHours};
use rimeward::domain::yard::Site;
use rimeward::sim::replay::play::Weather;

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
    let mut air_c = KnownHours::bridged(hours, (from, until))?.air_c;
    // The last days are only forecast; where they are not known the last hour stands for them.
    let mut last = *air_c.last()?;
    for hour in 0..i64::try_from(AHEAD_H).ok()? {
        last = hours.get(&(until.timestamp() / 3600 + hour)).copied().unwrap_or(last);
        air_c.push(last);
    }
    let coldest_c = air_c.iter().copied().fold(f64::INFINITY, f64::min);
    Some(Season { station: station.to_owned(), year, from, until, coldest_c, air_c })
}

/// Forecasts of a season, drawn from the error model.
pub struct Sky(Drawn);

impl Sky {
    pub fn new(season: &Season, seed: u64) -> Self {
        let truth = KnownHours { from: season.from, air_c: season.air_c.clone() };
        Self(Drawn::new(truth, seed))
    }
}

impl Weather for Sky {
    fn newest(&self, _: &Site, now: DateTime<Utc>) -> Option<(DateTime<Utc>, Vec<Step>)> {
        self.0.newest(now)
    }

    fn past(&self, _: &Site, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step> {
        (0..(until - from).num_hours())
            .map(|hour| from + TimeDelta::hours(hour))
            .map(|time| Step { temperature_c: self.0.truth().at(time), ..Step::empty(time) })
            .collect()
    }
}
