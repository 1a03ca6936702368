//! `/points`: which grid cell a place belongs to.

use serde::Deserialize;
use serde_json::Value;

use super::{check_place, read_json};
use crate::adapters::weather::{Context, PayloadError};

/// What this document is called in messages.
const POINTS: &str = "nws-points";

/// The grid cell of a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// Office, three capital letters.
    pub office: String,
    /// Column.
    pub x: u32,
    /// Row.
    pub y: u32,
    /// The address of the raw grid as the service states it, if it does. Use it only on the configured host.
    pub grid_url: Option<String>,
    /// IANA zone, if stated.
    pub time_zone: Option<String>,
    /// `land`, `marine`, ... if stated.
    pub kind: Option<String>,
}

impl Cell {
    /// The path of the raw grid below the base address.
    #[must_use]
    pub fn grid_path(&self) -> String {
        format!("/gridpoints/{}/{},{}", self.office, self.x, self.y)
    }
}

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    geometry: Option<Value>,
    #[serde(default)]
    properties: Option<Value>,
}

/// Reads a points document.
///
/// # Errors
/// [`PayloadError`]: an error document, another place, or no grid named.
pub fn parse_points(body: &[u8], context: &Context) -> Result<Cell, PayloadError> {
    let document: Document = read_json(body)?;
    let missing = |what| PayloadError::Missing { what, service: POINTS };
    let properties = document.properties.ok_or_else(|| missing("properties"))?;
    check_place(document.geometry.as_ref(), context)?;
    let text = |key: &str| {
        properties.get(key).and_then(Value::as_str).filter(|t| t.len() < 300).map(str::to_owned)
    };
    let number = |key: &str| {
        let value = properties.get(key)?;
        let number = value.as_u64().or_else(|| value.as_str()?.parse().ok())?;
        u32::try_from(number).ok().filter(|n| *n < 10_000)
    };
    let office = text("gridId")
        .filter(|id| (2..=4).contains(&id.len()) && id.bytes().all(|b| b.is_ascii_uppercase()));
    Ok(Cell {
        office: office.ok_or_else(|| missing("gridId"))?,
        x: number("gridX").ok_or_else(|| missing("gridX"))?,
        y: number("gridY").ok_or_else(|| missing("gridY"))?,
        grid_url: text("forecastGridData"),
        time_zone: text("timeZone"),
        kind: text("type"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_is_read_and_an_odd_office_refused() {
        let body = |office: &str| {
            format!(
                r#"{{"geometry":{{"type":"Point","coordinates":[-69.07,44.19]}},"properties":
                {{"gridId":"{office}","gridX":"98","gridY":71,"timeZone":"America/New_York"}}}}"#
            )
        };
        let context = Context { place: "44.19,-69.07".parse().ok(), now: None };
        let cell = parse_points(body("GYX").as_bytes(), &context).unwrap();
        assert_eq!(cell.grid_path(), "/gridpoints/GYX/98,71");
        let refusal = parse_points(body("../x").as_bytes(), &context);
        assert!(matches!(refusal, Err(PayloadError::Missing { what: "gridId", .. })));
    }

    #[test]
    fn a_point_elsewhere_is_refused() {
        let body = br#"{"geometry":{"type":"Point","coordinates":[120.55,90]},"properties":
            {"gridId":"GYX","gridX":98,"gridY":71}}"#;
        let context = Context { place: "44.19,-69.07".parse().ok(), now: None };
        assert!(matches!(parse_points(body, &context), Err(PayloadError::WrongPlace { .. })));
    }
}
