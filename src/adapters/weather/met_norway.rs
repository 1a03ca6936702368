//! MET Norway's Locationforecast 2.0 (api.met.no, its documentation and data model): GeoJSON with hourly steps for two
//! to three days and six-hourly ones after, with 10 and 90 % quantiles in `complete` where the models have them.
//!
//! Age is `meta.updated_at`. The hourly part ends where `next_1_hours` ends; from there hours are interpolated between
//! the six-hourly values, keeping the lows and highs that are published for each stretch.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Deserialize;
use serde_json::Value;

use super::measure::{AIR_C_MAX, AIR_C_MIN, Conversion, Quantity, dew_point};
use super::nws::{check_place, issue_time, note_faults, read_json, read_stamp};
use super::series::{Layer, Layers};
use super::{Context, PayloadError, STEPS_MAX};
use crate::app::ports::Service;
use crate::domain::weather::daily_curve::{Extremes, STRETCH_HOURS_MAX, Sample, Turns, between};
use crate::domain::weather::{Forecast, WindowMinimum, sun};

/// The name of this service.
pub const MET_NORWAY: &str = Service::MetNorway.name();
/// Most steps of the series that are looked at; recorded ones have up to 93.
const ENTRIES_MAX: usize = 1_000;
/// Hours of the stretches after the hourly part.
const LONG_STRETCH_HOURS: i64 = 6;
/// The afternoon's warmest hour by the sun, hours after midnight (usual course of a clear day; no source).
const WARMEST_SOLAR_H: i64 = 15;
/// How far before the issue a step may lie, in hours.
const BEFORE_ISSUE_HOURS_MAX: i64 = 36;

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    geometry: Option<Value>,
    properties: Option<Properties>,
}

#[derive(Deserialize)]
struct Properties {
    #[serde(default)]
    meta: Option<Value>,
    #[serde(default)]
    timeseries: Option<Value>,
}

/// One entry of the series in our units.
#[derive(Clone, Copy, Default)]
struct Entry {
    air_c: Option<f64>,
    p10_c: Option<f64>,
    p90_c: Option<f64>,
    dew_c: Option<f64>,
    wind_ms: Option<f64>,
    cloud: Option<f64>,
    /// Water of the hour that begins here, mm.
    water_mm: Option<f64>,
    /// Water of the six hours that begin here, mm.
    water_6h_mm: Option<f64>,
    extremes: Extremes,
    is_hourly: bool,
}

/// Reads a `complete` or `compact` document into hourly steps.
///
/// Percentiles, dew point and cloud are optional at each step. A hole in the hourly part stays a hole. Values outside
/// -70..60 C and leaps of over 12 K in an hour are dropped and counted.
///
/// # Errors
/// [`PayloadError`]: no JSON, no unit, no value, one value for days, another place, dates far off.
pub fn parse_met_norway(body: &[u8], context: &Context) -> Result<Forecast, PayloadError> {
    let document: Document = read_json(body)?;
    let missing = |what| PayloadError::Missing { what, service: MET_NORWAY };
    check_place(document.geometry.as_ref(), context)?;
    let properties = document.properties.ok_or_else(|| missing("properties"))?;
    let meta = properties.meta.ok_or_else(|| missing("meta"))?;
    let issued_at =
        issue_time(meta.get("updated_at"), context)?.ok_or_else(|| missing("updated_at"))?;
    let series = properties.timeseries.as_ref().and_then(Value::as_array);
    let series = series.filter(|s| !s.is_empty()).ok_or_else(|| missing("timeseries"))?;
    let units = Units::of(meta.get("units"))?;

    let mut warnings = Vec::new();
    let mut entries: BTreeMap<i64, Entry> = BTreeMap::new();
    let mut dropped = 0_usize;
    let mut unread = 0_usize;
    let issue_hour = issued_at.timestamp().div_euclid(3600);
    let horizon = issue_hour.saturating_add(i64::try_from(STEPS_MAX).unwrap_or(i64::MAX));
    for entry in series.iter().take(ENTRIES_MAX) {
        let time = entry.get("time").and_then(Value::as_str).and_then(read_stamp);
        let hour = time.map(|t| t.timestamp().div_euclid(3600));
        let in_reach = |h: &i64| (issue_hour - BEFORE_ISSUE_HOURS_MAX..horizon).contains(h);
        let Some(hour) = hour.filter(in_reach) else {
            unread += 1;
            continue;
        };
        entries.entry(hour).or_insert_with(|| units.read(entry.get("data"), &mut dropped));
    }
    if entries.is_empty() {
        let why = format!("no step lies near the issue of {issued_at}");
        return Err(PayloadError::Dates { why });
    }
    if unread > 0 {
        warnings.push(format!("{unread} steps without a usable time"));
    }
    let position = position(document.geometry.as_ref());
    let mut layers = Layers::default();
    fill(&entries, position, &mut layers, &mut warnings);
    layers.temperature.dropped += dropped;
    layers.temperature.settle_temperature()?;
    note_faults("temperature", &layers.temperature, &mut warnings);
    if layers.p10.is_blank() {
        warnings.push("no percentiles in this issue: the default spread is used".into());
    }
    let minima = minima(&entries);
    let height = height(document.geometry.as_ref());
    Ok(layers.into_forecast(MET_NORWAY, issued_at, height, minima, warnings))
}

/// How the document's units become ours.
struct Units {
    air: Conversion,
    wind: Option<Conversion>,
    share: Option<Conversion>,
    water: Option<Conversion>,
}

impl Units {
    fn of(units: Option<&Value>) -> Result<Self, PayloadError> {
        let named = |key: &str| units.and_then(|u| u.get(key)).and_then(Value::as_str);
        let find = |quantity, key| named(key).and_then(|unit| Conversion::find(quantity, unit));
        let air = find(Quantity::Temperature, "air_temperature").ok_or_else(|| {
            let unit = named("air_temperature").unwrap_or("not given");
            PayloadError::Unit { unit: unit.chars().take(40).collect() }
        })?;
        Ok(Self {
            air,
            wind: find(Quantity::Speed, "wind_speed"),
            share: find(Quantity::Share, "cloud_area_fraction"),
            water: find(Quantity::Water, "precipitation_amount"),
        })
    }

    fn read(&self, data: Option<&Value>, dropped: &mut usize) -> Entry {
        let block = |name: &str| data.and_then(|d| d.get(name));
        let instant = block("instant").and_then(|b| b.get("details"));
        let long = block("next_6_hours").and_then(|b| b.get("details"));
        let number = |from: Option<&Value>, key: &str| from?.get(key)?.as_f64();
        let short = block("next_1_hours").and_then(|b| b.get("details"));
        let water = |from| {
            let stated: f64 = number(from, "precipitation_amount")?;
            self.water?.apply(stated)
        };
        let mut air = |from, key| {
            let stated: f64 = number(from, key)?;
            let ours = self.air.apply(stated);
            *dropped += usize::from(ours.is_none());
            ours
        };
        let air_c = air(instant, "air_temperature");
        let p10_c = air(instant, "air_temperature_percentile_10");
        let p90_c = air(instant, "air_temperature_percentile_90");
        let stated_dew = air(instant, "dew_point_temperature");
        let low = air(long, "air_temperature_min");
        let high = air(long, "air_temperature_max");
        let ordered = |low: f64, high: f64| low <= high;
        let (p10_c, p90_c) = match (p10_c, p90_c) {
            (Some(low), Some(high)) if ordered(low, high) => (Some(low), Some(high)),
            _ => (None, None),
        };
        let humidity = number(instant, "relative_humidity").map(|percent| percent / 100.0);
        let dew_c = stated_dew.or_else(|| dew_point(air_c?, humidity?.min(1.0)));
        Entry {
            air_c,
            p10_c,
            p90_c,
            dew_c,
            wind_ms: number(instant, "wind_speed").and_then(|v| self.wind?.apply(v)),
            cloud: number(instant, "cloud_area_fraction").and_then(|v| self.share?.apply(v)),
            water_mm: water(short),
            water_6h_mm: water(long),
            extremes: Extremes { low, high },
            is_hourly: block("next_1_hours").is_some(),
        }
    }
}

/// Puts the entries into the layers and the hours between the six-hourly ones.
fn fill(
    entries: &BTreeMap<i64, Entry>,
    position: Option<(f64, f64)>,
    layers: &mut Layers,
    warnings: &mut Vec<String>,
) {
    for (hour, entry) in entries {
        layers.temperature.put(*hour, entry.air_c);
        layers.p10.put(*hour, entry.p10_c);
        layers.p90.put(*hour, entry.p90_c);
        layers.dewpoint.put(*hour, entry.dew_c);
        layers.wind.put(*hour, entry.wind_ms);
        layers.cloud.put(*hour, entry.cloud);
        layers.precipitation.put(*hour, entry.water_mm);
    }
    // The last step with `next_1_hours` reaches to the first without: from there on steps lie hours apart.
    let tail = entries.iter().rev().take_while(|(_, entry)| !entry.is_hourly);
    let mut tail: Vec<(i64, Entry)> = tail.map(|(hour, entry)| (*hour, *entry)).collect();
    tail.reverse();
    let samples: Vec<Sample> = tail
        .iter()
        .filter_map(|(hour, entry)| Some(Sample { hour: *hour, value: entry.air_c? }))
        .collect();
    let curve = between(&samples, |_, from, to| {
        let extremes = entries.get(&from.hour).map(|e| e.extremes).unwrap_or_default();
        // What is published for six hours says nothing of another stretch.
        let is_whole = to.hour - from.hour == LONG_STRETCH_HOURS;
        (if is_whole { extremes } else { Extremes::default() }, turns(position, from, to))
    });
    for sample in &curve {
        layers.temperature.put(sample.hour, Some(sample.value.clamp(AIR_C_MIN, AIR_C_MAX)));
    }
    if let (Some(first), false) = (samples.first(), curve.is_empty()) {
        let from = DateTime::from_timestamp(first.hour.saturating_mul(3600), 0);
        let from = from.map_or_else(String::new, |t| t.format("%Y-%m-%d %H:%MZ").to_string());
        warnings.push(format!("hours after {from} are interpolated between six-hourly values"));
    }
    for (start, end) in tail.iter().zip(tail.iter().skip(1)) {
        straight((start.0, end.0), (start.1.dew_c, end.1.dew_c), &mut layers.dewpoint);
        straight((start.0, end.0), (start.1.wind_ms, end.1.wind_ms), &mut layers.wind);
        straight((start.0, end.0), (start.1.cloud, end.1.cloud), &mut layers.cloud);
        if end.0 - start.0 == LONG_STRETCH_HOURS {
            for hour in start.0..end.0 {
                layers.precipitation.put(hour, start.1.water_6h_mm.map(|mm| mm / 6.0));
            }
        }
        // Quantiles keep their distance from the curve, not from a line of their own.
        let offset = |entry: &Entry, q: Option<f64>| Some(q? - entry.air_c?);
        let mut low = Layer::default();
        let mut high = Layer::default();
        let lows = (offset(&start.1, start.1.p10_c), offset(&end.1, end.1.p10_c));
        let highs = (offset(&start.1, start.1.p90_c), offset(&end.1, end.1.p90_c));
        straight((start.0, end.0), lows, &mut low);
        straight((start.0, end.0), highs, &mut high);
        for hour in start.0.saturating_add(1)..end.0.min(start.0 + STRETCH_HOURS_MAX) {
            let around = |offset: Option<f64>| Some(layers.temperature.get(hour)? + offset?);
            let (p10, p90) = (around(low.get(hour)), around(high.get(hour)));
            layers.p10.put(hour, p10);
            layers.p90.put(hour, p90);
        }
    }
}

fn straight((from, to): (i64, i64), ends: (Option<f64>, Option<f64>), layer: &mut Layer) {
    let (Some(a), Some(b)) = ends else { return };
    if to - from > STRETCH_HOURS_MAX {
        return;
    }
    let width = f64::from(i32::try_from(to - from).unwrap_or(1));
    for hour in from.saturating_add(1)..to {
        let share = f64::from(i32::try_from(hour - from).unwrap_or(0)) / width;
        layer.put(hour, Some(a + (b - a) * share));
    }
}

/// Where in a stretch the sun puts its low and its high.
fn turns(position: Option<(f64, f64)>, from: &Sample, to: &Sample) -> Turns {
    let Some((latitude, longitude)) = position else { return Turns::default() };
    #[expect(clippy::cast_possible_truncation, reason = "at most twelve hours")]
    let east_h = (longitude / 15.0).round() as i64;
    let date_of = |hour: i64| -> Option<NaiveDate> {
        let local = hour.checked_add(east_h)?.checked_mul(3600)?;
        Some(DateTime::<Utc>::from_timestamp(local, 0)?.date_naive())
    };
    let sunrise = |hour: i64| {
        let (rise, _) = sun::rise_and_set(date_of(hour)?, latitude, longitude)?;
        Some(rise.timestamp().div_euclid(3600))
    };
    let inside = |hour: &i64| *hour > from.hour && *hour < to.hour;
    let afternoon = (from.hour..to.hour).find(|h| (h + east_h).rem_euclid(24) == WARMEST_SOLAR_H);
    Turns {
        coldest: sunrise(from.hour).or_else(|| sunrise(to.hour)).filter(inside),
        warmest: afternoon,
    }
}

fn minima(entries: &BTreeMap<i64, Entry>) -> Vec<WindowMinimum> {
    let stamp = |hour: i64| DateTime::from_timestamp(hour.checked_mul(3600)?, 0);
    let hourly_end = entries.iter().rev().find(|(_, e)| e.is_hourly).map_or(i64::MIN, |(h, _)| *h);
    entries
        .iter()
        .filter(|(hour, _)| **hour > hourly_end)
        .filter_map(|(hour, entry)| {
            Some(WindowMinimum {
                start: stamp(*hour)?,
                end: stamp(hour.checked_add(LONG_STRETCH_HOURS)?)?,
                temperature_c: entry.extremes.low?,
            })
        })
        .collect()
}

fn position(geometry: Option<&Value>) -> Option<(f64, f64)> {
    let coordinates = geometry?.get("coordinates")?;
    let (east, north) = (coordinates.get(0)?.as_f64()?, coordinates.get(1)?.as_f64()?);
    ((-90.0..=90.0).contains(&north) && (-180.0..=180.0).contains(&east)).then_some((north, east))
}

fn height(geometry: Option<&Value>) -> Option<f64> {
    let metres = geometry?.get("coordinates")?.get(2)?.as_f64()?;
    (-500.0..=9000.0).contains(&metres).then_some(metres)
}
