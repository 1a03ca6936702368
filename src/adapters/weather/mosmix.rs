//! The German weather service's MOSMIX point forecasts (opendata.dwd.de, its KML extension): one list of hourly stamps,
//! and for each element one list of the same length in which `-` is missing. Temperatures are in kelvin.
//!
//! `E_TTT` is the expected absolute error of the hour's temperature; 1.25 times that is about a standard deviation.

use chrono::{DateTime, TimeDelta, Utc};

use super::measure::{Conversion, Quantity};
use super::nws::{issue_time, note_faults, read_stamp};
use super::series::{Layer, Layers};
use super::unpack::{UNPACKED_BYTES_MAX, first_entry, is_archive};
use super::xml::{Piece, attribute, walk};
use super::{Context, PayloadError, Place, STEPS_MAX};
use crate::app::ports::Service;
use crate::domain::weather::{Forecast, WindowMinimum};

/// The name of this service.
pub const MOSMIX: &str = Service::Mosmix.name();
/// How far a station may lie from the place that it speaks for, in degrees of latitude or longitude: stations are
/// named points, tens of kilometres apart.
pub const STATION_APART_DEG_MAX: f64 = 0.4;
/// A standard deviation is so many times a mean absolute error, for errors that are normally distributed.
const SD_PER_ABSOLUTE_ERROR: f64 = 1.25;
/// The 10 and 90 % quantiles of a normal distribution lie so many standard deviations from its middle.
const SD_TO_DECILE: f64 = 1.2816;
/// `TN` is the minimum of so many hours before its stamp.
const MINIMUM_HOURS: i64 = 12;
/// Most stations of one file that are looked at.
const STATIONS_MAX: usize = 50;

/// Elements that are read; of these only the temperature must be there.
const ELEMENTS: [&str; 9] = ["TTT", "E_TTT", "Td", "FF", "N", "Neff", "TN", "RR1c", "RRS1c"];

#[derive(Default)]
struct Station {
    name: String,
    /// East, north, height.
    position: Vec<f64>,
    elements: Vec<(String, String)>,
}

#[derive(Default)]
struct Document {
    issued: String,
    stamps: Vec<String>,
    stations: Vec<Station>,
}

/// Reads a KML document, or the KMZ archive that holds it, into hourly steps of the station nearest to the place that
/// was asked for (the first, where none was).
///
/// # Errors
/// [`PayloadError`]: no XML, no temperature, one value for days, another place, dates far off.
pub fn parse_mosmix(body: &[u8], context: &Context) -> Result<Forecast, PayloadError> {
    let unpacked;
    let body = if is_archive(body) {
        unpacked = first_entry(body).map_err(|why| PayloadError::NotXml { why: why.into() })?;
        unpacked.as_slice()
    } else {
        body
    };
    let document = read(body)?;
    let missing = |what| PayloadError::Missing { what, service: MOSMIX };
    let issued = serde_json::Value::String(document.issued.clone());
    let issued_at = issue_time(Some(&issued), context)?.ok_or_else(|| missing("IssueTime"))?;
    let hours: Vec<Option<i64>> = document.stamps.iter().map(|s| hour(s, issued_at)).collect();
    if hours.is_empty() {
        return Err(missing("ForecastTimeSteps"));
    }
    let station = choose(document.stations, context)?.ok_or_else(|| missing("Placemark"))?;
    let mut warnings = Vec::new();
    let column = |name: &str, quantity, unit: &str| {
        column(&station, name, Conversion::find(quantity, unit), &hours)
    };
    let mut layers = Layers {
        temperature: column("TTT", Quantity::Temperature, "K")?.ok_or_else(|| missing("TTT"))?,
        dewpoint: column("Td", Quantity::Temperature, "K")?.unwrap_or_default(),
        wind: column("FF", Quantity::Speed, "m/s")?.unwrap_or_default(),
        ..Layers::default()
    };
    let cloud = column("N", Quantity::Share, "percent")?;
    layers.cloud = match cloud {
        Some(layer) => layer,
        None => column("Neff", Quantity::Share, "percent")?.unwrap_or_default(),
    };
    // What fell in the hour before the stamp; ten times as deep as its water where it is snow (common practice, no source).
    let water = column("RR1c", Quantity::Water, "kg_m-2")?.unwrap_or_default();
    let snow = column("RRS1c", Quantity::Water, "kg_m-2")?.unwrap_or_default();
    for hour in hours.iter().flatten() {
        let begins = hour.saturating_sub(1);
        layers.precipitation.put(begins, water.get(*hour));
        layers.snow.put(begins, snow.get(*hour));
    }
    layers.temperature.settle_temperature()?;
    note_faults("TTT", &layers.temperature, &mut warnings);
    if hours.iter().any(Option::is_none) {
        warnings.push("some steps have no usable time".into());
    }
    // An expected error converts like a share of nothing: it is a difference, in kelvin.
    let errors = column("E_TTT", Quantity::Speed, "m/s")?.unwrap_or_default();
    for hour in hours.iter().flatten() {
        let half = errors.get(*hour).map(|e| e * SD_PER_ABSOLUTE_ERROR * SD_TO_DECILE);
        let around = |sign: f64| Some(layers.temperature.get(*hour)? + sign * half?);
        let (p10, p90) = (around(-1.0), around(1.0));
        layers.p10.put(*hour, p10);
        layers.p90.put(*hour, p90);
    }
    let lows = column("TN", Quantity::Temperature, "K")?.unwrap_or_default();
    let minima = minima(&lows, &hours);
    warnings.push(format!("station {}", station.name));
    let height = station.position.get(2).copied().filter(|m| (-500.0..=9000.0).contains(m));
    Ok(layers.into_forecast(MOSMIX, issued_at, height, minima, warnings))
}

fn read(body: &[u8]) -> Result<Document, PayloadError> {
    let mut document = Document::default();
    let mut element: Option<String> = None;
    let limit = usize::try_from(UNPACKED_BYTES_MAX).unwrap_or(usize::MAX);
    walk(body, limit, |path, piece| {
        let here = path.last().map(String::as_str).unwrap_or_default();
        let parent = path.iter().rev().nth(1).map(String::as_str).unwrap_or_default();
        match piece {
            Piece::Start(_) if here == "Placemark" => {
                document.stations.push(Station::default());
            }
            Piece::Start(start) if here == "Forecast" => {
                let name = attribute(start, "elementName");
                element = name.filter(|n| ELEMENTS.contains(&n.as_str()));
            }
            Piece::Text(text) => {
                let station = document.stations.last_mut();
                match (here, parent, station) {
                    ("IssueTime", _, _) => document.issued.push_str(text.trim()),
                    ("TimeStep", _, _) if document.stamps.len() < STEPS_MAX => {
                        document.stamps.push(text.trim().to_owned());
                    }
                    ("name", "Placemark", Some(station)) => {
                        station.name = text.trim().chars().take(40).collect();
                    }
                    ("coordinates", "Point", Some(station)) => {
                        station.position =
                            text.split(',').take(3).filter_map(|n| n.trim().parse().ok()).collect();
                    }
                    ("value", "Forecast", Some(station)) => {
                        if let Some(name) = element.clone() {
                            station.elements.push((name, text.to_owned()));
                        }
                    }
                    _ => {}
                }
            }
            _ => {}
        }
        document.stations.truncate(STATIONS_MAX);
    })?;
    Ok(document)
}

/// The nearest station; refused when it is too far off.
fn choose(stations: Vec<Station>, context: &Context) -> Result<Option<Station>, PayloadError> {
    let Some(asked) = context.place else { return Ok(stations.into_iter().next()) };
    let apart = |station: &Station| {
        let (Some(east), Some(north)) = (station.position.first(), station.position.get(1)) else {
            return f64::INFINITY;
        };
        let east = (east - asked.longitude()).abs();
        (north - asked.latitude()).abs().max(east.min(360.0 - east))
    };
    let nearest = stations.into_iter().min_by(|a, b| apart(a).total_cmp(&apart(b)));
    match nearest {
        Some(station) if apart(&station) > STATION_APART_DEG_MAX => {
            let at = station.position.get(1).zip(station.position.first());
            let at = at.and_then(|(n, e)| Place::new(*n, *e).ok());
            let answered = at.map_or_else(
                || format!("station {} of no stated place", station.name),
                |place| format!("station {} at {place}", station.name),
            );
            Err(PayloadError::WrongPlace { answered, asked })
        }
        other => Ok(other),
    }
}

fn hour(stamp: &str, issued_at: DateTime<Utc>) -> Option<i64> {
    let time = read_stamp(stamp)?;
    let is_near = (time - issued_at).abs() <= TimeDelta::days(16);
    is_near.then(|| time.timestamp().div_euclid(3600))
}

/// The values of an element by hour. `Ok(None)`: the station does not have it.
fn column(
    station: &Station,
    name: &str,
    conversion: Option<Conversion>,
    hours: &[Option<i64>],
) -> Result<Option<Layer>, PayloadError> {
    let Some((_, text)) = station.elements.iter().find(|(n, _)| n == name) else { return Ok(None) };
    let values: Vec<&str> = text.split_ascii_whitespace().take(STEPS_MAX + 1).collect();
    if values.len() != hours.len() {
        if name == "TTT" {
            return Err(PayloadError::Missing {
                what: "TTT as long as its time steps",
                service: MOSMIX,
            });
        }
        return Ok(None);
    }
    let mut layer = Layer::default();
    for (hour, value) in hours.iter().zip(values) {
        let Some(hour) = hour else { continue };
        let stated = value.parse::<f64>().ok();
        let ours = stated.and_then(|v| conversion?.apply(v));
        layer.dropped += usize::from(ours.is_none() && value != "-");
        layer.put(*hour, ours);
    }
    Ok(Some(layer))
}

fn minima(lows: &Layer, hours: &[Option<i64>]) -> Vec<WindowMinimum> {
    let stamp = |hour: i64| DateTime::from_timestamp(hour.checked_mul(3600)?, 0);
    hours
        .iter()
        .flatten()
        .filter_map(|hour| {
            Some(WindowMinimum {
                start: stamp(hour.checked_sub(MINIMUM_HOURS)?)?,
                end: stamp(*hour)?,
                temperature_c: lows.get(*hour)?,
            })
        })
        .collect()
}
