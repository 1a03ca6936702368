//! From the low and high of each day to hours: the low at sunrise, the high at 15 h local time, half a cosine between,
//! unless the day's own hours say otherwise.

use std::f64::consts::{PI, TAU};

use chrono::{Datelike, NaiveDate, NaiveTime};
use chrono_tz::America::New_York;

use crate::domain::local_time;
use crate::domain::units::fahrenheit_as_celsius;
use crate::domain::weather::Step;
use crate::sim::demo::winter::days::{Day, Days};
use crate::sim::demo::winter::sky::Sky;
use crate::sim::demo::winter::tables::WinterCell;

/// Local hour of the high.
const HIGH_HOUR: u32 = 15;
/// Local hours at which a night's and a day's sky stand.
const NIGHT_HOUR: u32 = 3;
const DAY_HOUR: u32 = 14;
const EVENING_HOUR: u32 = 21;
/// Local hour at which a day's moisture stands.
const DEW_HOUR: u32 = 6;
/// How far the dew point lies below the day's low in F: at least, and more under a clear sky.
const DEW_BELOW_F: f64 = 1.5;
const DEW_CLEAR_F: f64 = 5.0;
/// Air is never quite saturated, in F.
const DEW_GAP_F: f64 = 0.5;
/// Temperatures are kept to a hundredth of a degree F, so that they do not depend on the mathematics library.
const GRAIN: f64 = 100.0;

pub(crate) struct Curve {
    /// Hours since 1970.
    pub first_hour: i64,
    pub steps: Vec<Step>,
}

/// Points through which a quantity goes: hour since 1970 and value, in order of time.
type Points = Vec<(i64, f64)>;

pub(crate) fn hours(cell: &WinterCell, days: &Days, sky: &Sky, first: NaiveDate) -> Curve {
    let days = days.of(cell.table);
    let mut temperature: Points = Vec::new();
    let (mut dew, mut wind, mut cloud): (Points, Points, Points) = Default::default();
    for ((day, sky), date) in days.iter().zip(&sky.0).zip(first.iter_days()) {
        temperature.extend(day_points(day, cell, date));
        let note = |points: &mut Points, hour, value| {
            points.extend(utc_hour(date, hour).map(|h| (h, value)));
        };
        note(&mut dew, DEW_HOUR, day.low_f - DEW_BELOW_F - DEW_CLEAR_F * (1.0 - sky.cloud_day));
        note(&mut wind, NIGHT_HOUR, sky.wind_night_ms);
        note(&mut wind, DAY_HOUR, sky.wind_day_ms);
        note(&mut cloud, NIGHT_HOUR, sky.cloud_night);
        note(&mut cloud, DAY_HOUR, sky.cloud_day);
    }
    for (sky, date) in sky.0.iter().skip(1).zip(first.iter_days()) {
        wind.extend(utc_hour(date, EVENING_HOUR).map(|h| (h, sky.wind_night_ms)));
        cloud.extend(utc_hour(date, EVENING_HOUR).map(|h| (h, sky.cloud_night)));
    }
    for points in [&mut temperature, &mut wind, &mut cloud] {
        points.sort_by_key(|(hour, _)| *hour);
        points.dedup_by_key(|(hour, _)| *hour);
    }
    let first_hour = utc_hour(first, 0).unwrap_or(0);
    let mut steps = Vec::new();
    for (day, date) in days.iter().zip(first.iter_days()) {
        let (Some(from), Some(to)) =
            (utc_hour(date, 0), date.succ_opt().and_then(|next| utc_hour(next, 0)))
        else {
            continue;
        };
        for hour in from..to {
            let t_f = within_day(between(&temperature, hour, half_cosine), day);
            let td_f = between(&dew, hour, |share| share).min(t_f - DEW_GAP_F);
            let Some(time) = chrono::DateTime::from_timestamp(hour.saturating_mul(3600), 0) else {
                continue;
            };
            steps.push(Step {
                temperature_c: Some(fahrenheit_as_celsius(t_f)),
                dewpoint_c: Some(fahrenheit_as_celsius(td_f)),
                wind_ms: Some(between(&wind, hour, |share| share)),
                cloud: Some(between(&cloud, hour, |share| share)),
                ..Step::empty(time)
            });
        }
    }
    Curve { first_hour, steps }
}

fn day_points(day: &Day, cell: &WinterCell, date: NaiveDate) -> Points {
    let low_hour = day.low_hour.map_or_else(|| sunrise(cell, date), |h| utc_hour(date, h));
    let high_hour = utc_hour(date, day.high_hour.unwrap_or(HIGH_HOUR));
    let rise = day.high_f - day.low_f;
    let mut points: Points = Vec::new();
    points.extend(low_hour.map(|h| (h, day.low_f)));
    points.extend(high_hour.map(|h| (h, day.high_f)));
    let shares = day.shares.iter().map(|(hour, share)| (*hour, day.low_f + share * rise));
    for (hour, value) in shares.chain(day.hours_f.iter().copied()) {
        points.extend(utc_hour(date, hour).map(|h| (h, value)));
    }
    points
}

/// A named day's hours stay between its low and its high.
fn within_day(t_f: f64, day: &Day) -> f64 {
    let t_f = (t_f * GRAIN).round() / GRAIN;
    if day.is_named { t_f.clamp(day.low_f, day.high_f) } else { t_f }
}

/// The whole hour since 1970 of a local hour; `None` in the hour that the spring change leaves out.
fn utc_hour(date: NaiveDate, hour: u32) -> Option<i64> {
    let local = date.and_time(NaiveTime::from_hms_opt(hour, 0, 0)?);
    Some(local_time::stated(New_York, local)?.timestamp().div_euclid(3600))
}

/// The whole hour since 1970 that is nearest to sunrise (the sun's centre 0.833 degrees under the horizon; declination
/// and equation of time after Spencer 1971, shortened to the terms that matter for a whole hour).
fn sunrise(cell: &WinterCell, date: NaiveDate) -> Option<i64> {
    let angle = TAU * (f64::from(date.ordinal()) - 1.0) / 365.0;
    let declination = 0.006_918 - 0.399_912 * angle.cos() + 0.070_257 * angle.sin();
    let late_min = 229.18
        * (0.001_868 * angle.cos()
            - 0.032_077 * angle.sin()
            - 0.014_615 * (2.0 * angle).cos()
            - 0.040_849 * (2.0 * angle).sin());
    let latitude = cell.latitude.to_radians();
    let cosine = ((-0.833_f64).to_radians().sin() - latitude.sin() * declination.sin())
        / (latitude.cos() * declination.cos());
    let before_noon_h = cosine.clamp(-1.0, 1.0).acos().to_degrees() / 15.0;
    let utc_h = (12.0 - cell.longitude / 15.0 - late_min / 60.0 - before_noon_h).round();
    let midnight = date.and_time(NaiveTime::MIN).and_utc().timestamp().div_euclid(3600);
    (0..24)
        .find(|h| (f64::from(*h) - utc_h).abs() < 0.5)
        .map(|h| midnight.saturating_add(i64::from(h)))
}

/// The way from one point to the next, by the share of time that has passed.
fn half_cosine(share: f64) -> f64 {
    0.5 * (1.0 - (PI * share).cos())
}

fn between(points: &Points, hour: i64, way: impl Fn(f64) -> f64) -> f64 {
    let at = points.partition_point(|(h, _)| *h <= hour);
    let before = at.checked_sub(1).and_then(|a| points.get(a));
    match (before, points.get(at)) {
        (Some((h1, v1)), Some((h2, v2))) => {
            let share = hours_f64(hour.saturating_sub(*h1)) / hours_f64(h2.saturating_sub(*h1));
            v1 + way(share) * (v2 - v1)
        }
        (Some((_, value)), None) | (None, Some((_, value))) => *value,
        (None, None) => 0.0,
    }
}

fn hours_f64(hours: i64) -> f64 {
    i32::try_from(hours).map_or(0.0, f64::from)
}
