//! `/gridpoints/.../forecast/hourly`: the rounded copy of the grid, in either of its two forms. The plain form has a
//! number with `temperatureUnit` and a wind text; the other has value objects. A shared cache can hand out either.

use chrono::{DateTime, Utc};
use serde::Deserialize;
use serde_json::Value;

use super::{ENTRIES_MAX, read_stamp};
use super::{check_dates, check_place, elevation, issue_time, note_faults, read_json};
use crate::adapters::weather::interval::Interval;
use crate::adapters::weather::measure::{Conversion, Quantity};
use crate::adapters::weather::series::{Layer, Layers};
use crate::adapters::weather::{Context, PayloadError};
use crate::domain::weather::Forecast;

/// The name of this service.
pub const HOURLY: &str = "nws-hourly";

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    geometry: Option<Value>,
    #[serde(default)]
    properties: Option<Value>,
}

/// Reads an hourly forecast document. It has no cloud cover and no night minima.
///
/// # Errors
/// As [`super::parse_gridpoint`].
pub fn parse_hourly(body: &[u8], context: &Context) -> Result<Forecast, PayloadError> {
    let document: Document = read_json(body)?;
    let missing = |what| PayloadError::Missing { what, service: HOURLY };
    let properties = document.properties.ok_or_else(|| missing("properties"))?;
    check_place(document.geometry.as_ref(), context)?;
    let issued_at =
        issue_time(properties.get("updateTime"), context)?.ok_or_else(|| missing("updateTime"))?;
    let periods = properties.get("periods").and_then(Value::as_array);
    let periods = periods.filter(|p| !p.is_empty()).ok_or_else(|| missing("periods"))?;
    let mut layers = Layers::default();
    for period in periods.iter().take(ENTRIES_MAX) {
        hold_period(period, issued_at, &mut layers);
    }
    check_dates(&layers.temperature, issued_at)?;
    layers.temperature.settle_temperature()?;
    let mut warnings = Vec::new();
    note_faults("temperature", &layers.temperature, &mut warnings);
    note_faults("dewpoint", &layers.dewpoint, &mut warnings);
    note_faults("windSpeed", &layers.wind, &mut warnings);
    let height = elevation(properties.get("elevation"));
    Ok(layers.into_forecast(HOURLY, issued_at, height, Vec::new(), warnings))
}

fn hold_period(period: &Value, issued_at: DateTime<Utc>, layers: &mut Layers) {
    let stamp = |key: &str| period.get(key).and_then(Value::as_str).and_then(read_stamp);
    let interval = match (stamp("startTime"), stamp("endTime")) {
        (Some(start), Some(end)) if end > start => Interval { start, end },
        _ => {
            layers.temperature.unread = layers.temperature.unread.saturating_add(1);
            return;
        }
    };
    let plain_unit = period.get("temperatureUnit").and_then(Value::as_str);
    let temperature =
        period.get("temperature").map(|v| amount(v, Quantity::Temperature, plain_unit));
    let dewpoint = period.get("dewpoint").map(|v| amount(v, Quantity::Temperature, None));
    let wind = period.get("windSpeed").map(|v| match v {
        Value::String(text) => wind_text(text),
        _ => amount(v, Quantity::Speed, None),
    });
    let hold = |layer: &mut Layer, read: Option<Reading>| {
        let read = read.unwrap_or(Reading::Absent);
        if matches!(read, Reading::Impossible) {
            layer.dropped = layer.dropped.saturating_add(1);
        }
        let value = if let Reading::Value(v) = read { Some(v) } else { None };
        layer.hold(interval, value, issued_at);
    };
    hold(&mut layers.temperature, temperature);
    hold(&mut layers.dewpoint, dewpoint);
    hold(&mut layers.wind, wind);
}

/// What stood in a field.
enum Reading {
    Value(f64),
    Absent,
    Impossible,
}

impl Reading {
    fn convert(value: f64, quantity: Quantity, unit: Option<&str>) -> Self {
        let conversion = unit.and_then(|u| Conversion::find(quantity, u));
        conversion.and_then(|c| c.apply(value)).map_or(Self::Impossible, Self::Value)
    }
}

/// A number whose unit stands elsewhere, or `{ unitCode, value }`, or `{ unitCode, minValue, maxValue }` of which the
/// larger counts, as the service means the maximum sustained wind.
fn amount(value: &Value, quantity: Quantity, plain_unit: Option<&str>) -> Reading {
    if let Some(number) = value.as_f64() {
        return Reading::convert(number, quantity, plain_unit);
    }
    let number = ["value", "maxValue"].iter().find_map(|key| value.get(key)?.as_f64());
    match number {
        Some(number) => {
            Reading::convert(number, quantity, value.get("unitCode").and_then(Value::as_str))
        }
        None => Reading::Absent,
    }
}

/// `18 mph`, `5 to 10 mph` (the larger counts), `4 km/h`.
fn wind_text(text: &str) -> Reading {
    let mut words = text.split_whitespace().rev();
    let unit = words.next();
    let number = words.next().and_then(|w| w.parse::<f64>().ok());
    number.map_or(Reading::Absent, |n| Reading::convert(n, Quantity::Speed, unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(reading: Reading) -> Option<f64> {
        if let Reading::Value(v) = reading { Some(v) } else { None }
    }

    #[test]
    fn both_forms_of_a_temperature_are_read() {
        let plain = amount(&serde_json::json!(23), Quantity::Temperature, Some("F"));
        assert!((value(plain).unwrap() + 5.0).abs() < 1e-9);
        let object = serde_json::json!({"unitCode": "wmoUnit:degC", "value": -5});
        assert_eq!(value(amount(&object, Quantity::Temperature, None)), Some(-5.0));
        let null = serde_json::json!({"unitCode": "wmoUnit:degC", "value": null});
        assert!(matches!(amount(&null, Quantity::Temperature, None), Reading::Absent));
        let bare = amount(&serde_json::json!(23), Quantity::Temperature, None);
        assert!(matches!(bare, Reading::Impossible), "no unit, no value");
    }

    #[test]
    fn a_range_of_wind_counts_with_its_upper_end() {
        let check = |text: &str, expect: f64| {
            assert!((value(wind_text(text)).unwrap() - expect).abs() < 1e-9, "{text}");
        };
        check("18 mph", 18.0 * 0.44704);
        check("5 to 10 mph", 4.4704);
        check("36 km/h", 10.0);
        assert!(matches!(wind_text("calm"), Reading::Absent));
    }
}
