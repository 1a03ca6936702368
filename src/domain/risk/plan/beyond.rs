//! The days after the forecast ends: each member goes on from where it is, drawn towards what the season brings, with
//! the day-to-day wandering that public daily records show. Members stay joint over all boats and places.
//!
//! Where normals of the place are handed in, they are the centre. Where none are, the centre is the mean of the
//! forecast itself, moved along the yearly wave: that knows nothing of the place's own past seasons, and the plan says so.
//! A week's mean tells a place's normal only to within some kelvins (a warm week is no warm place), so that each member
//! then has a centre of its own.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Timelike, Utc};
use serde::Deserialize;

use super::count;
use crate::domain::catalogue::{CatalogueError, table};
use crate::domain::risk::ambient::PlaceWeather;
use crate::domain::season::Hemisphere;
use crate::domain::weather::Step;
use crate::domain::weather::errors::Normals;

const TABLE: &str = "beyond.csv";
const DAYS_A_YEAR: f64 = 365.25;

/// Normal daily mean of a place on a date, C, where past seasons are known.
pub type SeasonNormal<'a> = &'a dyn Fn(NaiveDate) -> Option<f64>;

/// How daily means wander, from `config/catalogue/beyond.csv`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wander {
    /// Standard deviation of a day's mean about its normal, K.
    pub anomaly_sd_k: f64,
    /// Correlation from one day to the next.
    pub day_to_day: f64,
    /// Half the range of the yearly wave, K.
    pub season_amplitude_k: f64,
    /// Day of the year on which the northern half is warmest.
    pub warmest_day: f64,
}

#[derive(Deserialize)]
struct Row {
    name: String,
    value: f64,
}

impl Wander {
    /// The table compiled into the program.
    ///
    /// # Errors
    /// [`CatalogueError`] where a row is missing.
    pub fn built_in() -> Result<Self, CatalogueError> {
        let rows =
            table::rows::<Row>(TABLE, include_str!("../../../../config/catalogue/beyond.csv"))?;
        let value = |name: &str| {
            let row = rows.iter().find(|(_, row)| row.name == name);
            row.map(|(_, row)| row.value).ok_or_else(|| CatalogueError::Row {
                table: TABLE,
                line: 0,
                what: format!("no row {name}"),
            })
        };
        Ok(Self {
            anomaly_sd_k: value("anomaly_sd_k")?,
            day_to_day: value("day_to_day")?,
            season_amplitude_k: value("season_amplitude_k")?,
            warmest_day: value("warmest_day")?,
        })
    }

    /// Standard deviation of the mean of `days` days in a row about the normal, K: they wander together, so that a week is
    /// hardly better than a day.
    fn mean_sd_k(&self, days: usize) -> f64 {
        let n = count(days.max(1));
        let lags = (1..days).map(|lag| (n - count(lag)) * self.day_to_day.powf(count(lag)));
        self.anomaly_sd_k * ((n + 2.0 * lags.sum::<f64>()) / (n * n)).sqrt()
    }

    /// The yearly wave at an instant, K about the year's mean.
    fn season_k(&self, at: DateTime<Utc>, hemisphere: Hemisphere) -> f64 {
        let day = f64::from(at.ordinal()) + f64::from(at.hour()) / 24.0;
        let day = hemisphere.northern_day(day) - self.warmest_day;
        self.season_amplitude_k * (day / DAYS_A_YEAR * std::f64::consts::TAU).cos()
    }
}

/// The weather of a place, carried on until it has `hours` coming hours. One `seed` for all places: one cold for all.
#[must_use]
pub fn carried_on(
    weather: &PlaceWeather,
    wander: &Wander,
    normal: SeasonNormal<'_>,
    hours: usize,
    seed: u64,
) -> PlaceWeather {
    let known = weather.paths.hours().min(weather.coming.len());
    let members = weather.paths.members();
    if known < 24 || known >= hours || members == 0 {
        return weather.clone();
    }
    let hemisphere = weather.site.hemisphere();
    let shape = DayShape::of(weather, known);
    let middle = weather.at + TimeDelta::hours(i64::try_from(known / 2).unwrap_or(0));
    let centre_c = |at: DateTime<Utc>| {
        normal(at.with_timezone(&weather.site.time_zone).date_naive()).unwrap_or_else(|| {
            shape.mean_c + wander.season_k(at, hemisphere) - wander.season_k(middle, hemisphere)
        })
    };
    // Where the normal is known it is the same for all members.
    let unknown_k = |at: DateTime<Utc>| {
        let known_normal = normal(at.with_timezone(&weather.site.time_zone).date_naive()).is_some();
        if known_normal { 0.0 } else { wander.mean_sd_k(known / 24) }
    };
    let mut guesses = Normals::new(seed.wrapping_add(1));
    let off: Vec<f64> = (0..members).map(|_| guesses.normal()).collect();
    let time_of =
        |hour: usize| weather.at + TimeDelta::hours(i64::try_from(hour).unwrap_or(i64::MAX / 2));
    // Where each member stands at the end, against its centre.
    let last_day_middle = time_of(known.saturating_sub(12));
    let end_k = unknown_k(last_day_middle);
    let mut before: Vec<f64> = last_day_means(weather, known)
        .iter()
        .zip(&off)
        .map(|(t, off)| t - centre_c(last_day_middle) - end_k * off)
        .collect();
    let fresh = wander.anomaly_sd_k * (1.0 - wander.day_to_day.powi(2)).max(0.0).sqrt();
    let mut draws = Normals::new(seed);
    let mut air = Vec::with_capacity((hours - known) * members);
    let mut steps = weather.coming.clone();
    steps.truncate(known);
    let mut next = before.clone();
    for hour in known..hours {
        let into_day = (hour - known) % 24;
        if into_day == 0 {
            before.clone_from(&next);
            for anomaly in &mut next {
                *anomaly = wander.day_to_day * *anomaly + fresh * draws.normal();
            }
        }
        let at = time_of(hour);
        let level_c = centre_c(at) + shape.at(at);
        let share = (count(into_day) + 1.0) / 24.0;
        let off_k = unknown_k(at);
        let drift = before.iter().zip(&next).zip(&off);
        air.extend(drift.map(|((a, b), off)| narrow(level_c + off_k * off + a + share * (b - a))));
        steps.push(Step {
            temperature_c: Some(level_c),
            cloud: shape.cloud,
            wind_ms: shape.wind_ms,
            ..Step::empty(at)
        });
    }
    PlaceWeather { coming: steps, paths: weather.paths.followed_by(&air), ..weather.clone() }
}

/// The mean day of a forecast.
struct DayShape {
    mean_c: f64,
    by_hour_k: [f64; 24],
    cloud: Option<f64>,
    wind_ms: Option<f64>,
}

impl DayShape {
    fn of(weather: &PlaceWeather, known: usize) -> Self {
        // Whole days only, the last ones: a part of a day would tilt the mean.
        let days = known / 24 * 24;
        let whole: Vec<&Step> = weather.coming.iter().take(known).skip(known - days).collect();
        let mean = |values: Vec<f64>| {
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / count(values.len()))
        };
        let mean_c = mean(whole.iter().filter_map(|step| step.temperature_c).collect());
        let mean_c = mean_c.unwrap_or(0.0);
        let mut by_hour_k = [0.0; 24];
        for (hour, slot) in (0_u32..).zip(&mut by_hour_k) {
            let at_hour = whole.iter().filter(|step| step.time.hour() == hour);
            *slot = mean(at_hour.filter_map(|step| step.temperature_c).collect())
                .map_or(0.0, |t| t - mean_c);
        }
        Self {
            mean_c,
            by_hour_k,
            cloud: mean(whole.iter().filter_map(|step| step.cloud).collect()),
            wind_ms: mean(whole.iter().filter_map(|step| step.wind_ms).collect()),
        }
    }

    fn at(&self, at: DateTime<Utc>) -> f64 {
        let hour = usize::try_from(at.hour()).unwrap_or(0);
        self.by_hour_k.get(hour).copied().unwrap_or(0.0)
    }
}

/// Mean of each member over the last day that is known, C.
fn last_day_means(weather: &PlaceWeather, known: usize) -> Vec<f64> {
    let mut sums = vec![0.0; weather.paths.members()];
    for air in weather.paths.by_hour().take(known).skip(known - 24) {
        for (sum, t) in sums.iter_mut().zip(air) {
            *sum += f64::from(*t);
        }
    }
    sums.iter().map(|sum| sum / 24.0).collect()
}

#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(celsius: f64) -> f32 {
    celsius as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_week_tells_the_normal_hardly_better_than_a_day() {
        // Mean of n values with correlation r between neighbours: var = sd^2 (n + 2 sum (n - k) r^k) / n^2 (classic).
        let wander = Wander::built_in().unwrap();
        assert!((wander.mean_sd_k(1) - wander.anomaly_sd_k).abs() < 1e-12);
        let two = wander.anomaly_sd_k * f64::midpoint(1.0, wander.day_to_day).sqrt();
        assert!((wander.mean_sd_k(2) - two).abs() < 1e-12);
        let week = wander.mean_sd_k(7);
        assert!((4.0..4.8).contains(&week), "{week}");
    }
}
