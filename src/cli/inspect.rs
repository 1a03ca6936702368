//! `rimeward inspect`: reads one document of a weather service and prints the hours in it, or why it is refused.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use thiserror::Error;

use crate::adapters::weather::eccc::{ECCC, parse_eccc};
use crate::adapters::weather::met_norway::{MET_NORWAY, parse_met_norway};
use crate::adapters::weather::mosmix::{MOSMIX, parse_mosmix};
use crate::adapters::weather::nws::hourly::HOURLY;
use crate::adapters::weather::nws::observation::OBSERVATION;
use crate::adapters::weather::nws::{GRIDPOINT, parse_gridpoint, parse_hourly, parse_observation};
use crate::adapters::weather::open_meteo::{ARCHIVE, ENSEMBLE, FORECAST, parse_open_meteo};
use crate::adapters::weather::place::PlaceError;
use crate::adapters::weather::{BODY_BYTES_MAX, Context, PayloadError, Place};
use crate::domain::units::{Celsius, TemperatureScale, in_both_scales};
use crate::domain::weather::{Forecast, Step, WindowMinimum};

/// The services whose documents this build reads.
pub const READABLE: [&str; 9] =
    [GRIDPOINT, HOURLY, OBSERVATION, MET_NORWAY, FORECAST, ENSEMBLE, ARCHIVE, MOSMIX, ECCC];

/// The exit code of every [`InspectError`]: bad input, nothing was changed.
pub const EXIT_REFUSED: u8 = 2;

/// Read one document of a weather service and print the hours in it, or why it is refused.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Which service wrote the document: nws-gridpoint, nws-hourly, nws-observation, met-norway, open-meteo,
    /// open-meteo-ensemble, open-meteo-archive, mosmix or eccc.
    #[arg(long, value_name = "SERVICE")]
    pub service: String,
    /// The document.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Refuse the document unless it is for this place, in degrees north and east.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub place: Option<String>,
}

/// Why nothing could be printed.
#[derive(Debug, Error)]
pub enum InspectError {
    /// A service that this build does not read.
    #[error("documents of {service} are not read; known are {}", READABLE.join(", "))]
    Service {
        /// What was asked for.
        service: String,
    },
    /// A place that is none.
    #[error("reading --place")]
    Place(#[from] PlaceError),
    /// A file that cannot be read.
    #[error("reading {}", file.display())]
    File {
        /// Which.
        file: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The document is refused.
    #[error("{} is refused", file.display())]
    Refused {
        /// Which.
        file: PathBuf,
        /// Why.
        #[source]
        source: PayloadError,
    },
    /// The output cannot be written.
    #[error("writing the hours")]
    Output(#[from] io::Error),
}

/// What was read, whatever the service.
struct Reading {
    service: &'static str,
    issued_at: Option<DateTime<Utc>>,
    title: String,
    steps: Vec<Step>,
    minima: Vec<WindowMinimum>,
    members: usize,
    missing: usize,
    warnings: Vec<String>,
}

/// Prints the document's hours to `out`: one JSON document with `as_json`, a table for people otherwise.
///
/// # Errors
/// [`InspectError`]; the caller prints it to standard error and exits with [`EXIT_REFUSED`]. With `as_json` the
/// refusal of a document also goes to `out`, as `{"service": ..., "refused": ...}`.
pub fn run(args: &Args, as_json: bool, out: &mut impl Write) -> Result<(), InspectError> {
    let result = read(args);
    if let (Err(InspectError::Refused { source, .. }), true) = (&result, as_json) {
        let refusal = json!({"service": args.service, "refused": source.to_string()});
        writeln!(out, "{refusal}")?;
    }
    let reading = result?;
    if as_json {
        writeln!(out, "{}", as_document(&reading))?
    } else {
        print(&reading, out)?
    }
    Ok(())
}

fn read(args: &Args) -> Result<Reading, InspectError> {
    if !READABLE.contains(&args.service.as_str()) {
        return Err(InspectError::Service { service: args.service.clone() });
    }
    let place = args.place.as_deref().map(str::parse::<Place>).transpose()?;
    let body = read_bounded(&args.file)
        .map_err(|source| InspectError::File { file: args.file.clone(), source })?;
    let context = Context { place, now: None };
    let reading = match args.service.as_str() {
        OBSERVATION => parse_observation(&body, &context).map(|o| Reading {
            service: OBSERVATION,
            issued_at: Some(o.step.time),
            title: format!("Reading of station {}", o.station),
            steps: vec![o.step],
            minima: Vec::new(),
            members: 0,
            missing: 0,
            warnings: o.warnings,
        }),
        HOURLY => parse_hourly(&body, &context).map(|f| forecast(HOURLY, f)),
        MET_NORWAY => parse_met_norway(&body, &context).map(|f| forecast(MET_NORWAY, f)),
        FORECAST => parse_open_meteo(FORECAST, &body, &context).map(|f| undated(FORECAST, f)),
        ENSEMBLE => parse_open_meteo(ENSEMBLE, &body, &context).map(|f| undated(ENSEMBLE, f)),
        ARCHIVE => parse_open_meteo(ARCHIVE, &body, &context).map(|f| undated(ARCHIVE, f)),
        MOSMIX => parse_mosmix(&body, &context).map(|f| forecast(MOSMIX, f)),
        ECCC => parse_eccc(&body, &context).map(|f| forecast(ECCC, f)),
        _ => parse_gridpoint(&body, &context).map(|f| forecast(GRIDPOINT, f)),
    };
    reading.map_err(|source| InspectError::Refused { file: args.file.clone(), source })
}

fn forecast(service: &'static str, forecast: Forecast) -> Reading {
    let height =
        forecast.cell_elevation_m.map_or_else(String::new, |m| format!(", cell at {m:.0} m"));
    Reading {
        service,
        issued_at: Some(forecast.issued_at),
        title: format!("Forecast{height}"),
        steps: forecast.steps,
        minima: forecast.minima,
        members: forecast.members.len(),
        missing: forecast.missing,
        warnings: forecast.warnings,
    }
}

/// A document that does not say when it was issued.
fn undated(service: &'static str, document: Forecast) -> Reading {
    Reading { issued_at: None, ..forecast(service, document) }
}

/// One byte more than is allowed, so that a longer file is refused as such.
fn read_bounded(file: &Path) -> io::Result<Vec<u8>> {
    let limit = u64::try_from(BODY_BYTES_MAX).unwrap_or(u64::MAX).saturating_add(1);
    let mut body = Vec::new();
    File::open(file)?.take(limit).read_to_end(&mut body)?;
    Ok(body)
}

fn as_document(reading: &Reading) -> Value {
    let number = |value: Option<f64>| value.map(|v| (v * 1000.0).round() / 1000.0);
    let step = |step: &Step| {
        json!({
            "time": step.time.to_rfc3339(),
            "temperature_c": number(step.temperature_c),
            "p10_c": number(step.p10_c),
            "p90_c": number(step.p90_c),
            "dewpoint_c": number(step.dewpoint_c),
            "wind_ms": number(step.wind_ms),
            "cloud": number(step.cloud),
            "precipitation_mm": number(step.precipitation_mm),
            "snow_cm": number(step.snow_cm),
        })
    };
    json!({
        "service": reading.service,
        "issued": reading.issued_at.map(|at| at.to_rfc3339()),
        "steps": reading.steps.iter().map(step).collect::<Vec<_>>(),
        "members": reading.members,
        "missing": reading.missing,
        "warnings": reading.warnings,
    })
}

fn print(reading: &Reading, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{}, {}", reading.title, reading.service)?;
    let issued = reading.issued_at.map_or_else(|| "at a time not stated".to_owned(), stamp);
    writeln!(out, "Issued {issued}, {} hours", reading.steps.len())?;
    if reading.members > 0 {
        writeln!(out, "{} members; the middle and the spread are theirs", reading.members)?;
    }
    if reading.missing > 0 {
        writeln!(out, "{} hours have no temperature", reading.missing)?;
    }
    for warning in &reading.warnings {
        writeln!(out, "Note: {warning}")?;
    }
    writeln!(
        out,
        "\n{:<17}  {:>16}  {:>16}  {:>16}  {:>16}  {:>8}  {:>5}  {:>7}  {:>7}",
        "UTC", "air", "10 %", "90 %", "dew point", "wind", "cloud", "water", "snow"
    )?;
    for step in &reading.steps {
        writeln!(
            out,
            "{:<17}  {:>16}  {:>16}  {:>16}  {:>16}  {:>8}  {:>5}  {:>7}  {:>7}",
            stamp(step.time),
            degrees(step.temperature_c),
            degrees(step.p10_c),
            degrees(step.p90_c),
            degrees(step.dewpoint_c),
            step.wind_ms.map_or_else(dash, |w| format!("{w:.1} m/s")),
            step.cloud.map_or_else(dash, |c| format!("{:.0} %", c * 100.0)),
            step.precipitation_mm.map_or_else(dash, |mm| format!("{mm:.1} mm")),
            step.snow_cm.map_or_else(dash, |cm| format!("{cm:.1} cm")),
        )?;
    }
    if !reading.minima.is_empty() {
        writeln!(out, "\nNight minima as published")?;
    }
    for night in &reading.minima {
        let low = degrees(Some(night.temperature_c));
        writeln!(out, "{} to {}  {low}", stamp(night.start), stamp(night.end))?;
    }
    Ok(())
}

fn stamp(time: DateTime<Utc>) -> String {
    time.format("%Y-%m-%d %H:%MZ").to_string()
}

fn degrees(celsius: Option<f64>) -> String {
    celsius.map_or_else(dash, |c| in_both_scales(Celsius::clamped(c), TemperatureScale::F))
}

fn dash() -> String {
    "-".to_owned()
}
