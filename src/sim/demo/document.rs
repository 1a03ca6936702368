//! The invented forecasts in the form of the US service's documents, as its OpenAPI description and GeoJSON payloads
//! define it: equal neighbouring hours merged, durations with days, units beside each layer, night minima in windows.

use std::fmt::Write as _;

use chrono::{DateTime, Utc};

use crate::adapters::weather::Place;
use crate::adapters::weather::interval::write_hours;
use crate::domain::units::fahrenheit_as_celsius;
use crate::sim::demo::issues::{Issue, IssuedHour};
use crate::sim::demo::winter::WinterCell;

/// Half the width of a cell in degrees of latitude and longitude (2.5 km), and how far it is turned.
const HALF_LATITUDE: f64 = 0.0112;
const HALF_LONGITUDE: f64 = 0.0156;
const TURN: f64 = 0.0018;
/// Night windows in UTC: 7 pm to 9 am local standard time in the eastern offices.
const NIGHT_HOURS: i64 = 14;
/// Published minima lie up to so many F below the lowest hour of their window.
const BELOW_F: i64 = 3;

/// The raw grid document of one issue.
#[must_use]
pub fn gridpoint(cell: &WinterCell, issue: &Issue, base: &str) -> String {
    let mut out = String::with_capacity(24_000);
    let id = format!("{base}/gridpoints/{}/{},{}", cell.office, cell.x, cell.y);
    let first = issue.hours.first().map_or(0, |h| h.hour);
    let count = u32::try_from(issue.hours.len()).unwrap_or(0);
    let _ = write!(
        out,
        "{{\"id\":\"{id}\",\"type\":\"Feature\",\"geometry\":{},\"properties\":{{\"@id\":\"{id}\",\"@type\":\"wx:Gridpoint\",\
         \"updateTime\":\"{}\",\"validTimes\":\"{}\",\
         \"elevation\":{{\"unitCode\":\"wmoUnit:m\",\"value\":{}}},\
         \"forecastOffice\":\"{base}/offices/{}\",\"gridId\":\"{}\",\"gridX\":\"{}\",\"gridY\":\"{}\"",
        polygon(cell),
        stamp(issue.issued_at.timestamp()),
        interval(first, count),
        cell.elevation_m,
        cell.office,
        cell.office,
        cell.x,
        cell.y,
    );
    let celsius = |f: i32| fahrenheit_as_celsius(f64::from(f));
    layer(&mut out, "temperature", "wmoUnit:degC", &issue.hours, |h| celsius(h.temperature_f));
    layer(&mut out, "dewpoint", "wmoUnit:degC", &issue.hours, |h| celsius(h.dewpoint_f));
    minima(&mut out, &issue.hours);
    layer(&mut out, "skyCover", "wmoUnit:percent", &issue.hours, |h| f64::from(h.cloud_percent));
    layer(&mut out, "windSpeed", "wmoUnit:km_h-1", &issue.hours, |h| f64::from(h.wind_kt) * 1.852);
    out.push_str(",\"hazards\":{\"values\":[]},\"mixingHeight\":{\"values\":[]}}}");
    out
}

/// The document that says which cell a point belongs to.
#[must_use]
pub fn points(cell: &WinterCell, asked: Place, base: &str) -> String {
    let grid = format!("{base}/gridpoints/{}/{},{}", cell.office, cell.x, cell.y);
    format!(
        "{{\"id\":\"{base}/points/{asked}\",\"type\":\"Feature\",\
         \"geometry\":{{\"type\":\"Point\",\"coordinates\":[{},{}]}},\
         \"properties\":{{\"@type\":\"wx:Point\",\"cwa\":\"{}\",\"type\":\"land\",\"gridId\":\"{}\",\"gridX\":{},\"gridY\":{},\
         \"forecast\":\"{grid}/forecast\",\"forecastHourly\":\"{grid}/forecast/hourly\",\
         \"forecastGridData\":\"{grid}\",\"observationStations\":\"{grid}/stations\",\
         \"timeZone\":\"America/New_York\"}}}}",
        asked.longitude(),
        asked.latitude(),
        cell.office,
        cell.office,
        cell.x,
        cell.y,
    )
}

/// An error document.
#[must_use]
pub fn problem(status: u16, kind: &str, title: &str, detail: &str) -> String {
    serde_json::json!({
        "correlationId": "stand-in",
        "title": title,
        "type": format!("https://api.weather.gov/problems/{kind}"),
        "status": status,
        "detail": detail,
    })
    .to_string()
}

fn layer(
    out: &mut String,
    name: &str,
    unit: &str,
    hours: &[IssuedHour],
    value: impl Fn(&IssuedHour) -> f64,
) {
    let _ = write!(out, ",\"{name}\":{{\"uom\":\"{unit}\",\"values\":[");
    let mut is_first = true;
    for run in hours.chunk_by(|a, b| value(a).total_cmp(&value(b)).is_eq()) {
        let Some(first) = run.first() else { continue };
        let count = u32::try_from(run.len()).unwrap_or(0);
        entry(out, &mut is_first, &interval(first.hour, count), value(first));
    }
    out.push_str("]}");
}

fn minima(out: &mut String, hours: &[IssuedHour]) {
    out.push_str(",\"minTemperature\":{\"uom\":\"wmoUnit:degC\",\"values\":[");
    let mut is_first = true;
    let day = |h: &IssuedHour| (h.hour.rem_euclid(24) < NIGHT_HOURS).then(|| h.hour.div_euclid(24));
    for night in hours.chunk_by(|a, b| day(a) == day(b)) {
        let (Some(start), Some(end)) = (night.first(), night.last()) else { continue };
        let is_whole = end.hour.rem_euclid(24) == NIGHT_HOURS - 1;
        let (Some(_), true) = (day(start), is_whole) else { continue };
        let lowest = night.iter().map(|h| h.temperature_f).min().unwrap_or(0);
        let below = i32::try_from(start.hour.div_euclid(24).rem_euclid(BELOW_F)).unwrap_or(0);
        let value = fahrenheit_as_celsius(f64::from(lowest.saturating_sub(below)));
        let count = u32::try_from(night.len()).unwrap_or(0);
        entry(out, &mut is_first, &interval(start.hour, count), value);
    }
    out.push_str("]}");
}

fn entry(out: &mut String, is_first: &mut bool, valid_time: &str, value: f64) {
    if !*is_first {
        out.push(',');
    }
    *is_first = false;
    let _ = write!(out, "{{\"validTime\":\"{valid_time}\",\"value\":{value}}}");
}

fn interval(first_hour: i64, count: u32) -> String {
    format!("{}/{}", stamp(first_hour.saturating_mul(3600)), write_hours(count))
}

fn stamp(seconds: i64) -> String {
    let time: Option<DateTime<Utc>> = DateTime::from_timestamp(seconds, 0);
    time.unwrap_or_default().format("%Y-%m-%dT%H:%M:%S+00:00").to_string()
}

/// A slightly turned square around the cell's point, in the order longitude, latitude.
fn polygon(cell: &WinterCell) -> String {
    let corners = [(-1.0, -1.0), (-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)];
    let corner = |(east, north): (f64, f64)| {
        let longitude = cell.longitude + east * HALF_LONGITUDE + north * TURN;
        let latitude = cell.latitude + north * HALF_LATITUDE - east * TURN;
        format!("[{longitude:.7},{latitude:.7}]")
    };
    format!("{{\"type\":\"Polygon\",\"coordinates\":[[{}]]}}", corners.map(corner).join(","))
}
