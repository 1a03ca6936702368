//! Environment and Climate Change Canada's city page (its XML schema `site.xsd`): 24 hourly whole degrees after the
//! issue. It is read for inspection only and not polled: its paths have moved twice within a year.
//!
//! Each time stands there twice, in UTC and local; only those marked UTC are read. `calm` stands for no wind.

use chrono::{NaiveDateTime, TimeDelta};

use super::measure::{Conversion, Quantity};
use super::nws::{issue_time, note_faults};
use super::series::Layers;
use super::xml::{Piece, attribute, walk};
use super::{BODY_BYTES_MAX, Context, PayloadError, Place};
use crate::domain::weather::Forecast;

/// The name of this service.
pub const ECCC: &str = "eccc";
/// Pages are for named places that may lie away from the place, in degrees.
const CITY_APART_DEG_MAX: f64 = 0.4;
/// Most hours that are looked at; pages have 24.
const HOURS_MAX: usize = 200;

#[derive(Default)]
struct Hour {
    stamp: String,
    air: String,
    unit: String,
    wind: String,
    wind_unit: String,
}

#[derive(Default)]
struct Page {
    issued: String,
    position: Option<Place>,
    hours: Vec<Hour>,
}

/// Reads a city page into hourly steps.
///
/// # Errors
/// [`PayloadError`]: no XML, no hour, no unit, no value, another place, dates far off.
pub fn parse_eccc(body: &[u8], context: &Context) -> Result<Forecast, PayloadError> {
    let page = read(body)?;
    let missing = |what| PayloadError::Missing { what, service: ECCC };
    if let (Some(asked), Some(city)) = (context.place, page.position) {
        let east = (city.longitude() - asked.longitude()).abs();
        let apart = (city.latitude() - asked.latitude()).abs().max(east.min(360.0 - east));
        if apart > CITY_APART_DEG_MAX {
            return Err(PayloadError::WrongPlace {
                answered: format!("the city at {city}"),
                asked,
            });
        }
    }
    if page.hours.is_empty() {
        return Err(missing("hourlyForecast"));
    }
    let issued = NaiveDateTime::parse_from_str(&page.issued, "%Y%m%d%H%M%S").ok();
    let issued = issued.map(|t| serde_json::Value::String(t.and_utc().to_rfc3339()));
    let issued_at =
        issue_time(issued.as_ref(), context)?.ok_or_else(|| missing("forecastIssue"))?;
    let mut layers = Layers::default();
    for hour in &page.hours {
        let stamp = format!("{}00", hour.stamp);
        let time = NaiveDateTime::parse_from_str(&stamp, "%Y%m%d%H%M%S").ok();
        let time = time.map(|t| t.and_utc());
        let Some(time) = time.filter(|t| (*t - issued_at).abs() <= TimeDelta::days(16)) else {
            layers.temperature.unread += 1;
            continue;
        };
        let at = time.timestamp().div_euclid(3600);
        let air = Conversion::find(Quantity::Temperature, &hour.unit);
        let Some(air) = air else {
            let unit = hour.unit.chars().take(40).collect();
            return Err(PayloadError::Unit { unit });
        };
        let stated = hour.air.trim().parse::<f64>().ok();
        let ours = stated.and_then(|v| air.apply(v));
        layers.temperature.dropped += usize::from(stated.is_some() && ours.is_none());
        layers.temperature.put(at, ours);
        let wind = if hour.wind.trim().eq_ignore_ascii_case("calm") {
            Some(0.0)
        } else {
            let unit = Conversion::find(Quantity::Speed, &hour.wind_unit);
            hour.wind.trim().parse::<f64>().ok().and_then(|v| unit?.apply(v))
        };
        layers.wind.put(at, wind);
    }
    layers.temperature.settle_temperature()?;
    let mut warnings = vec!["the page has no dew point and no cloud cover".into()];
    note_faults("temperature", &layers.temperature, &mut warnings);
    Ok(layers.into_forecast(ECCC, issued_at, None, Vec::new(), warnings))
}

fn read(body: &[u8]) -> Result<Page, PayloadError> {
    let mut page = Page::default();
    let mut is_utc_issue = false;
    walk(body, BODY_BYTES_MAX, |path, piece| {
        let here = path.last().map(String::as_str).unwrap_or_default();
        let parent = path.iter().rev().nth(1).map(String::as_str).unwrap_or_default();
        match piece {
            Piece::Start(start) => match here {
                "name" if parent == "location" => {
                    let read = |key| attribute(start, key).and_then(|text| degrees(&text));
                    page.position =
                        read("lat").zip(read("lon")).and_then(|(n, e)| Place::new(n, e).ok());
                }
                "dateTime" if parent == "hourlyForecastGroup" || parent == "forecastGroup" => {
                    is_utc_issue = attribute(start, "name").as_deref() == Some("forecastIssue")
                        && attribute(start, "zone").as_deref() == Some("UTC");
                }
                "dateTime" => is_utc_issue = false,
                "hourlyForecast" if page.hours.len() < HOURS_MAX => page.hours.push(Hour {
                    stamp: attribute(start, "dateTimeUTC").unwrap_or_default(),
                    ..Hour::default()
                }),
                "temperature" if parent == "hourlyForecast" => {
                    if let Some(hour) = page.hours.last_mut() {
                        hour.unit = attribute(start, "units").unwrap_or_default();
                    }
                }
                "speed" if path.iter().any(|name| name == "hourlyForecast") => {
                    if let Some(hour) = page.hours.last_mut() {
                        hour.wind_unit = attribute(start, "units").unwrap_or_default();
                    }
                }
                _ => {}
            },
            Piece::Text(text) => match here {
                "timeStamp" if is_utc_issue => page.issued = text.trim().to_owned(),
                "temperature" if parent == "hourlyForecast" => {
                    if let Some(hour) = page.hours.last_mut() {
                        hour.air.push_str(text);
                    }
                }
                "speed" if path.iter().any(|name| name == "hourlyForecast") => {
                    if let Some(hour) = page.hours.last_mut() {
                        hour.wind.push_str(text);
                    }
                }
                _ => {}
            },
            Piece::End => {}
        }
    })?;
    Ok(page)
}

/// `43.65N` or `79.38W`.
fn degrees(text: &str) -> Option<f64> {
    let text = text.trim();
    let (number, side) = text.split_at_checked(text.len().checked_sub(1)?)?;
    let number: f64 = number.parse().ok()?;
    match side {
        "N" | "E" => Some(number),
        "S" | "W" => Some(-number),
        _ => None,
    }
}
