//! `/stations/{id}/observations/latest`: what a thermometer said. Null means that nothing is known, never zero and
//! never "as before".

use chrono::{DateTime, Utc};
use serde::Deserialize;
use serde_json::Value;

use super::{check_place, elevation, issue_time, read_json};
use crate::adapters::weather::measure::{Conversion, Quantity};
use crate::adapters::weather::{Context, PayloadError};
use crate::domain::weather::Step;

/// The name of this service.
pub const OBSERVATION: &str = "nws-observation";

/// One reading of a station.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Station, such as `KNYC`; empty when not stated.
    pub station: String,
    /// Height of the station in metres, where stated.
    pub elevation_m: Option<f64>,
    /// The values; `time` is the moment of the reading, to the second.
    pub step: Step,
    /// What a person should know.
    pub warnings: Vec<String>,
}

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    geometry: Option<Value>,
    #[serde(default)]
    properties: Option<Value>,
    #[serde(default)]
    features: Option<Value>,
    #[serde(default, rename = "type")]
    kind: Option<String>,
}

/// Reads one observation, or the newest of a list that has a temperature. Values whose quality control failed (`X`,
/// rejected, or `Q`, questioned) are left out.
///
/// # Errors
/// [`PayloadError`]: an error document, another place, an empty list, no temperature.
pub fn parse_observation(body: &[u8], context: &Context) -> Result<Observation, PayloadError> {
    let document: Document = read_json(body)?;
    let missing = |what| PayloadError::Missing { what, service: OBSERVATION };
    if document.kind.as_deref() == Some("FeatureCollection") {
        let features = document.features.as_ref().and_then(Value::as_array);
        let features = features.filter(|f| !f.is_empty()).ok_or_else(|| missing("features"))?;
        let mut newest: Result<Observation, PayloadError> = Err(missing("features"));
        for feature in features.iter().take(super::ENTRIES_MAX) {
            let properties = feature.get("properties");
            let read = read_feature(feature.get("geometry"), properties, context);
            newest = match (newest, read) {
                (Ok(a), Ok(b)) => Ok(if b.step.time > a.step.time { b } else { a }),
                (Ok(a), Err(_)) => Ok(a),
                (Err(_), read) => read,
            };
        }
        return newest;
    }
    read_feature(document.geometry.as_ref(), document.properties.as_ref(), context)
}

fn read_feature(
    geometry: Option<&Value>,
    properties: Option<&Value>,
    context: &Context,
) -> Result<Observation, PayloadError> {
    let missing = |what| PayloadError::Missing { what, service: OBSERVATION };
    let properties = properties.ok_or_else(|| missing("properties"))?;
    check_place(geometry, context)?;
    let time: DateTime<Utc> =
        issue_time(properties.get("timestamp"), context)?.ok_or_else(|| missing("timestamp"))?;
    let mut warnings = Vec::new();
    let mut read = |key: &str, quantity| {
        let field = properties.get(key)?;
        let stated = field.get("value")?.as_f64()?;
        let unit = field.get("unitCode").and_then(Value::as_str);
        let quality = field.get("qualityControl").and_then(Value::as_str);
        if matches!(quality, Some("X" | "Q")) {
            warnings.push(format!("{key} failed the station's own check"));
            return None;
        }
        let ours = unit.and_then(|u| Conversion::find(quantity, u)).and_then(|c| c.apply(stated));
        if ours.is_none() {
            warnings.push(format!("{key} dropped: no usable unit, or impossible"));
        }
        ours
    };
    let step = Step {
        temperature_c: read("temperature", Quantity::Temperature),
        dewpoint_c: read("dewpoint", Quantity::Temperature),
        wind_ms: read("windSpeed", Quantity::Speed),
        cloud: cloud(properties.get("cloudLayers")),
        ..Step::empty(time)
    };
    if step.temperature_c.is_none() {
        return Err(PayloadError::AllMissing { hours: 1, dropped: warnings.len() });
    }
    let station = properties.get("stationId").or_else(|| properties.get("station"));
    let station = station.and_then(Value::as_str).and_then(|s| s.rsplit('/').next());
    Ok(Observation {
        station: station.unwrap_or_default().chars().take(20).collect(),
        elevation_m: elevation(properties.get("elevation")),
        step,
        warnings,
    })
}

/// The largest cover among the layers, from the eighths that the codes stand for (WMO-No. 306, FM 15 METAR: few 1-2,
/// scattered 3-4, broken 5-7, overcast 8). `None` when no layer is given.
fn cloud(layers: Option<&Value>) -> Option<f64> {
    let cover = |layer: &Value| match layer.get("amount")?.as_str()? {
        "CLR" | "SKC" => Some(0.0),
        "FEW" => Some(1.5 / 8.0),
        "SCT" => Some(3.5 / 8.0),
        "BKN" => Some(6.0 / 8.0),
        "OVC" | "VV" => Some(1.0),
        _ => None,
    };
    layers?.as_array()?.iter().take(20).filter_map(cover).reduce(f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn body(temperature: &str) -> String {
        format!(
            r#"{{"type":"Feature","geometry":{{"type":"Point","coordinates":[-69.1,44.1]}},
            "properties":{{"stationId":"QQQQ","timestamp":"2022-12-24T12:00:00+00:00",
            "temperature":{temperature},"dewpoint":{{"unitCode":"wmoUnit:degC","value":null}},
            "cloudLayers":[{{"amount":"FEW"}},{{"amount":"BKN"}}]}}}}"#
        )
    }

    #[test]
    fn a_null_is_not_zero_degrees() {
        let null = body(r#"{"unitCode":"wmoUnit:degC","value":null,"qualityControl":"Z"}"#);
        let refusal = parse_observation(null.as_bytes(), &Context::default());
        assert!(matches!(refusal, Err(PayloadError::AllMissing { .. })));
    }

    #[test]
    fn a_reading_is_read_and_a_rejected_one_is_not() {
        let good = body(r#"{"unitCode":"wmoUnit:degC","value":-7.2,"qualityControl":"V"}"#);
        let read = parse_observation(good.as_bytes(), &Context::default()).unwrap();
        assert_eq!((read.station.as_str(), read.step.temperature_c), ("QQQQ", Some(-7.2)));
        assert_eq!((read.step.dewpoint_c, read.step.cloud), (None, Some(0.75)));
        let bad = body(r#"{"unitCode":"wmoUnit:degC","value":-7.2,"qualityControl":"X"}"#);
        assert!(parse_observation(bad.as_bytes(), &Context::default()).is_err());
    }

    #[test]
    fn a_list_without_features_is_refused() {
        let body = br#"{"type":"FeatureCollection","features":null}"#;
        let refusal = parse_observation(body, &Context::default());
        assert!(matches!(refusal, Err(PayloadError::Missing { what: "features", .. })));
    }
}
