//! `/gridpoints/{cell}/stations`: the thermometers near a cell.

use serde::Deserialize;
use serde_json::Value;

use super::{elevation, read_json};
use crate::adapters::weather::{PayloadError, Place};

/// What this document is called in messages.
const STATIONS: &str = "nws-stations";
/// More stations than this are not looked at.
const STATIONS_MAX: usize = 100;

/// A station of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Its identifier, such as `KRKD`.
    pub id: String,
    /// Where it stands.
    pub place: Place,
    /// Its height, m, where stated.
    pub elevation_m: Option<f64>,
}

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    features: Vec<Value>,
}

/// Reads a list of stations; what has no identifier or no place is left out.
///
/// # Errors
/// [`PayloadError`]: an error document, no JSON, no station.
pub fn parse_stations(body: &[u8]) -> Result<Vec<Station>, PayloadError> {
    let document: Document = read_json(body)?;
    let station = |feature: &Value| {
        let properties = feature.get("properties")?;
        let id = properties.get("stationIdentifier")?.as_str()?;
        let plain = (3..=12).contains(&id.len()) && id.bytes().all(|b| b.is_ascii_alphanumeric());
        let mut degrees = feature.pointer("/geometry/coordinates")?.as_array()?.iter();
        let longitude = degrees.next()?.as_f64()?;
        let place = Place::new(degrees.next()?.as_f64()?, longitude).ok()?;
        let elevation_m = elevation(properties.get("elevation"));
        plain.then(|| Station { id: id.to_owned(), place, elevation_m })
    };
    let found: Vec<Station> =
        document.features.iter().take(STATIONS_MAX).filter_map(station).collect();
    if found.is_empty() {
        return Err(PayloadError::Missing { what: "features", service: STATIONS });
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stations_are_read_and_odd_ones_left_out() {
        let body = br#"{"type":"FeatureCollection","features":[
            {"geometry":{"type":"Point","coordinates":[-69.1,44.1]},
             "properties":{"stationIdentifier":"QAAA","elevation":{"unitCode":"wmoUnit:m","value":17.4}}},
            {"geometry":null,"properties":{"stationIdentifier":"QBBB"}},
            {"geometry":{"type":"Point","coordinates":[-69.1,44.1]},
             "properties":{"stationIdentifier":"../../alerts"}}]}"#;
        let read = parse_stations(body).unwrap();
        assert_eq!(read.len(), 1);
        assert_eq!((read[0].id.as_str(), read[0].elevation_m), ("QAAA", Some(17.4)));
        assert!(parse_stations(br#"{"features":[]}"#).is_err());
    }
}
