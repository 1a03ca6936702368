//! The archive of forecasts and of what came: one row for each city and night (or day), whole degrees F.

use std::collections::BTreeMap;
use std::error::Error;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use chrono::NaiveDate;
use rimeward::domain::weather::fitted::Sky;

/// Forecasts of one value and what came, C.
#[derive(Debug, Clone, Copy, Default)]
pub struct Value {
    pub seen: Option<f64>,
    /// Issued 12, 24, 36 and 48 h before.
    pub said: [Option<f64>; 4],
    pub sky: Option<Sky>,
}

/// A city with its lows (by the date of the dawn) and highs by day.
#[derive(Debug, Clone, Default)]
pub struct City {
    pub latitude: f64,
    pub elevation_m: f64,
    pub coast_km: f64,
    pub freeze_nights: u32,
    pub lows: BTreeMap<NaiveDate, Value>,
    pub highs: BTreeMap<NaiveDate, Value>,
}

pub fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

/// Reads the three files below `folder`.
pub fn read(folder: &Path) -> Result<Vec<City>, Box<dyn Error>> {
    let mut cities: BTreeMap<String, City> = BTreeMap::new();
    for row in rows(&folder.join("nws_cities.csv"))? {
        let number = |key: &str| row.get(key).and_then(|v| v.parse::<f64>().ok());
        let name = row.get("city").cloned().unwrap_or_default();
        cities.insert(
            name,
            City {
                latitude: number("lat").ok_or("a city without latitude")?,
                elevation_m: number("elev_m").unwrap_or(100.0),
                coast_km: number("dist_coast_mi").unwrap_or(100.0) * 1.609_344,
                freeze_nights: row.get("freeze_nights").and_then(|v| v.parse().ok()).unwrap_or(0),
                ..City::default()
            },
        );
    }
    for (file, key) in [("nws_lows.csv.gz", "night"), ("nws_highs.csv.gz", "day")] {
        for row in rows(&folder.join(file))? {
            let number =
                |name: &str| row.get(name).and_then(|v| v.parse::<f64>().ok()).map(celsius);
            let date: NaiveDate = row.get(key).ok_or("a row without date")?.parse()?;
            let value = Value {
                seen: number("obs_f"),
                said: ["fc12_f", "fc24_f", "fc36_f", "fc48_f"].map(number),
                sky: row.get("outlook12").and_then(|word| sky(word)),
            };
            if let Some(city) = row.get("city").and_then(|name| cities.get_mut(name)) {
                let into = if key == "night" { &mut city.lows } else { &mut city.highs };
                into.insert(date, value);
            }
        }
    }
    Ok(cities.into_values().collect())
}

fn rows(path: &Path) -> Result<Vec<BTreeMap<String, String>>, Box<dyn Error>> {
    let file = BufReader::new(File::open(path).map_err(|e| format!("{}: {e}", path.display()))?);
    let mut text = String::new();
    if path.extension().is_some_and(|e| e == "gz") {
        flate2::read::MultiGzDecoder::new(file).read_to_string(&mut text)?;
    } else {
        { file }.read_to_string(&mut text)?;
    }
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let heads = reader.headers()?.clone();
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record?;
        rows.push(heads.iter().map(str::to_owned).zip(record.iter().map(str::to_owned)).collect());
    }
    Ok(rows)
}

/// The bulletins' sky words.
fn sky(word: &str) -> Option<Sky> {
    Some(match word {
        "SUNNY" | "VRYHOT" => Sky::Clear,
        "PTCLDY" => Sky::Broken,
        "MOCLDY" | "CLOUDY" | "VRYCLD" => Sky::Cloudy,
        "RAIN" | "SHWRS" | "TSTRMS" | "DRZL" => Sky::Wet,
        "SNOW" | "RNSNOW" | "SNOSHW" | "FZRAIN" | "FLRRYS" | "SLEET" | "BLGSNO" | "FZDRZL"
        | "BLZZRD" => Sky::Snow,
        "FOG" | "SMOKE" | "DUST" => Sky::Murk,
        "WINDY" => Sky::Windy,
        _ => return None,
    })
}
