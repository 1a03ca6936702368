//! The US National Weather Service's documents (api.weather.gov, its OpenAPI description and GeoJSON payloads).
//!
//! [`parse_gridpoint`] reads the raw grid, the source to prefer: whole intervals, degrees Celsius, the night minima.
//! The hourly text forecast is a rounded copy of it. Age is `updateTime`; `generatedAt` only says when text was made.

pub mod hourly;
pub mod notices;
pub mod observation;
pub mod points;
pub mod problem;
pub mod stations;

use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;
use serde_json::Value;

use crate::app::ports::Service;
use crate::domain::weather::{Forecast, WindowMinimum};

use super::interval::Interval;
use super::measure::{Conversion, Quantity};
use super::place::check_geometry;
use super::series::{Layer, Layers};
use super::{BODY_BYTES_MAX, Context, ISSUED_AHEAD_HOURS_MAX, PayloadError};

pub use hourly::parse_hourly;
pub use notices::parse_notices;
pub use observation::parse_observation;
pub use points::parse_points;

/// The name of this service's raw grid.
pub const GRIDPOINT: &str = Service::NwsGridpoint.name();

/// Most entries of one layer that are looked at; recorded layers have up to 162.
const ENTRIES_MAX: usize = 2_000;
/// No temperature holds for longer than this, hours: recorded grids merge up to 12 equal ones.
const HELD_HOURS_MAX: i64 = 48;
/// Most night minima that are kept.
const MINIMA_MAX: usize = 40;
/// Earliest issue that can be: the service's grids have been public since 2016.
const FIRST_YEAR: i32 = 2015;
/// Latest issue that can be, when the present is not given.
const LAST_YEAR: i32 = 2200;

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    geometry: Option<Value>,
    properties: Option<Properties>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Properties {
    #[serde(default)]
    update_time: Option<Value>,
    #[serde(default)]
    elevation: Option<Value>,
    #[serde(default)]
    temperature: Option<Value>,
    #[serde(default)]
    dewpoint: Option<Value>,
    #[serde(default)]
    wind_speed: Option<Value>,
    #[serde(default)]
    sky_cover: Option<Value>,
    #[serde(default)]
    quantitative_precipitation: Option<Value>,
    #[serde(default)]
    snowfall_amount: Option<Value>,
    #[serde(default)]
    min_temperature: Option<Value>,
}

/// Reads a raw grid document into hourly steps from the first to the last hour that its temperature layer names.
///
/// A value holds for every hour of its interval. Null, gap, unreadable unit: `None`. Values outside -70..60 C and
/// leaps of over 12 K in an hour are dropped, counted and named in the warnings. Hours outside a day and a half before
/// to 16 days after the issue are left out.
///
/// # Errors
/// [`PayloadError`]: an error document, no JSON, no unit, no value, one value for days, another place, dates far off.
pub fn parse_gridpoint(body: &[u8], context: &Context) -> Result<Forecast, PayloadError> {
    let document: Document = read_json(body)?;
    let missing = |what| PayloadError::Missing { what, service: GRIDPOINT };
    let properties = document.properties.ok_or_else(|| missing("properties"))?;
    check_place(document.geometry.as_ref(), context)?;
    let issued_at = issue_time(properties.update_time.as_ref(), context)?
        .ok_or_else(|| missing("updateTime"))?;
    let temperature = properties.temperature.as_ref().ok_or_else(|| missing("temperature"))?;
    require_unit(temperature)?;

    let mut warnings = Vec::new();
    let mut layers = Layers {
        temperature: read_layer(temperature, Quantity::Temperature, issued_at),
        ..Layers::default()
    };
    check_dates(&layers.temperature, issued_at)?;
    layers.temperature.settle_temperature()?;
    let optional = [
        ("dewpoint", properties.dewpoint, Quantity::Temperature, &mut layers.dewpoint),
        ("windSpeed", properties.wind_speed, Quantity::Speed, &mut layers.wind),
        ("skyCover", properties.sky_cover, Quantity::Share, &mut layers.cloud),
    ];
    for (name, value, quantity, layer) in optional {
        if let Some(value) = value {
            *layer = read_layer(&value, quantity, issued_at);
        }
        if layer.span().is_none() {
            warnings.push(format!("no {name} in this issue"));
        }
        note_faults(name, layer, &mut warnings);
    }
    // Beyond the first days no amounts are published: that they are missing is the rule.
    let amounts = [
        (properties.quantitative_precipitation, Quantity::Water, &mut layers.precipitation),
        (properties.snowfall_amount, Quantity::Snow, &mut layers.snow),
    ];
    for (value, quantity, layer) in amounts {
        if let Some(value) = value {
            *layer = read_layer(&value, quantity, issued_at);
        }
    }
    note_faults("temperature", &layers.temperature, &mut warnings);
    let minima = properties.min_temperature.map(|v| read_minima(&v, issued_at)).unwrap_or_default();
    let height = elevation(properties.elevation.as_ref());
    Ok(layers.into_forecast(GRIDPOINT, issued_at, height, minima, warnings))
}

/// Parses JSON of a bounded size, and tells the service's error documents from forecasts.
pub(crate) fn read_json<T: for<'a> Deserialize<'a>>(body: &[u8]) -> Result<T, PayloadError> {
    if body.len() > BODY_BYTES_MAX {
        return Err(PayloadError::TooLarge { bytes: body.len(), limit: BODY_BYTES_MAX });
    }
    if let Some(problem) = problem::parse_problem(body) {
        return Err(PayloadError::Problem(problem));
    }
    serde_json::from_slice(body).map_err(|why| PayloadError::NotJson {
        why: why.to_string(),
        hint: if body.trim_ascii_start().starts_with(b"<") {
            "; it looks like a web page or XML"
        } else {
            ""
        },
    })
}

pub(crate) fn check_place(geometry: Option<&Value>, context: &Context) -> Result<(), PayloadError> {
    let Some(asked) = context.place else { return Ok(()) };
    check_geometry(geometry, asked).map_err(|answered| PayloadError::WrongPlace { answered, asked })
}

/// The stamp, refused when it cannot be; `Ok(None)` when there is none.
pub(crate) fn issue_time(
    stamp: Option<&Value>,
    context: &Context,
) -> Result<Option<DateTime<Utc>>, PayloadError> {
    let Some(stamp) = stamp.and_then(Value::as_str).and_then(read_stamp) else { return Ok(None) };
    let far_off = |why| Err(PayloadError::Dates { why });
    let first = chrono::NaiveDate::from_ymd_opt(FIRST_YEAR, 1, 1);
    let last = chrono::NaiveDate::from_ymd_opt(LAST_YEAR, 1, 1);
    let day = stamp.date_naive();
    if first.is_some_and(|d| day < d) || last.is_some_and(|d| day > d) {
        return far_off(format!("issued at {stamp}"));
    }
    match context.now {
        Some(now)
            if stamp.signed_duration_since(now) > TimeDelta::hours(ISSUED_AHEAD_HOURS_MAX) =>
        {
            far_off(format!("issued at {stamp}, which is ahead of our clock ({now})"))
        }
        _ => Ok(Some(stamp)),
    }
}

pub(crate) fn read_stamp(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc3339(text).ok().map(|t| t.with_timezone(&Utc))
}

/// Metres from a value object `{ unitCode, value }`.
pub(crate) fn elevation(value: Option<&Value>) -> Option<f64> {
    let value = value?;
    let unit = value.get("unitCode")?.as_str()?;
    let metres = value.get("value")?.as_f64()?;
    (unit.ends_with(":m") && (-500.0..=9000.0).contains(&metres)).then_some(metres)
}

fn entries(layer: &Value) -> impl Iterator<Item = &Value> {
    layer.get("values").and_then(Value::as_array).into_iter().flatten().take(ENTRIES_MAX)
}

fn require_unit(layer: &Value) -> Result<(), PayloadError> {
    let unit = layer.get("uom").and_then(Value::as_str);
    if unit.and_then(|u| Conversion::find(Quantity::Temperature, u)).is_some() {
        return Ok(());
    }
    if entries(layer).next().is_none() {
        return Err(PayloadError::AllMissing { hours: 0, dropped: 0 });
    }
    let unit = unit.map_or_else(|| "not given".to_owned(), |u| u.chars().take(40).collect());
    Err(PayloadError::Unit { unit })
}

/// Expands a layer to hours. A layer without a usable unit has no values at all.
fn read_layer(value: &Value, quantity: Quantity, issued_at: DateTime<Utc>) -> Layer {
    let mut layer = Layer::default();
    let unit = value.get("uom").and_then(Value::as_str);
    let conversion = unit.and_then(|u| Conversion::find(quantity, u));
    for entry in entries(value) {
        let interval = entry.get("validTime").and_then(Value::as_str);
        let interval = interval.and_then(|t| Interval::parse(t, issued_at));
        let holds = |interval: &Interval| {
            quantity != Quantity::Temperature
                || interval.end - interval.start <= TimeDelta::hours(HELD_HOURS_MAX)
        };
        let Some(interval) = interval.filter(holds) else {
            layer.unread = layer.unread.saturating_add(1);
            continue;
        };
        let stated = entry.get("value").filter(|v| !v.is_null());
        let ours = stated.and_then(Value::as_f64).and_then(|v| conversion?.apply(v));
        if stated.is_some() && ours.is_none() {
            layer.dropped = layer.dropped.saturating_add(1);
        }
        match quantity {
            Quantity::Water | Quantity::Snow => layer.spread(interval, ours, issued_at),
            _ => layer.hold(interval, ours, issued_at),
        }
    }
    layer
}

fn check_dates(temperature: &Layer, issued_at: DateTime<Utc>) -> Result<(), PayloadError> {
    let issue_hour = issued_at.timestamp().div_euclid(3600);
    match temperature.span() {
        None if temperature.unread > 0 => Err(PayloadError::Dates {
            why: format!("no hour of its temperature lies near the issue of {issued_at}"),
        }),
        Some((_, end)) if end <= issue_hour => Err(PayloadError::Dates {
            why: format!("all its hours lie before its own issue of {issued_at}"),
        }),
        _ => Ok(()),
    }
}

fn read_minima(value: &Value, issued_at: DateTime<Utc>) -> Vec<WindowMinimum> {
    let unit = value.get("uom").and_then(Value::as_str);
    let Some(conversion) = unit.and_then(|u| Conversion::find(Quantity::Temperature, u)) else {
        return Vec::new();
    };
    let read = |entry: &Value| {
        let interval = Interval::parse(entry.get("validTime")?.as_str()?, issued_at)?;
        let is_night = interval.end - interval.start <= TimeDelta::hours(24);
        let is_near = (interval.start - issued_at).abs() <= TimeDelta::days(16);
        let temperature_c = conversion.apply(entry.get("value")?.as_f64()?)?;
        (is_night && is_near).then_some(WindowMinimum {
            start: interval.start,
            end: interval.end,
            temperature_c,
        })
    };
    let mut minima: Vec<WindowMinimum> = entries(value).filter_map(read).take(MINIMA_MAX).collect();
    minima.sort_by_key(|m| (m.start, m.end));
    minima
}

pub(crate) fn note_faults(name: &str, layer: &Layer, warnings: &mut Vec<String>) {
    if layer.dropped > 0 {
        warnings.push(format!("{} values of {name} dropped as impossible", layer.dropped));
    }
    if layer.overlaps > 0 {
        warnings.push(format!("{} hours of {name} given twice; the lower stands", layer.overlaps));
    }
    if layer.unread > 0 {
        warnings.push(format!("{} entries of {name} without a usable time", layer.unread));
    }
}
