//! The tables of the invented winter, compiled in.

use chrono::NaiveDate;
use serde::Deserialize;
use thiserror::Error;

const NAMED_DAYS: &str = include_str!("../../../../config/demo/winter_named_days.csv");
const NORMALS: &str = include_str!("../../../../config/demo/winter_normals.csv");
const SHIFTS: &str = include_str!("../../../../config/demo/winter_shifts.csv");
const FLOORS: &str = include_str!("../../../../config/demo/winter_floors.csv");
const CELLS: &str = include_str!("../../../../config/demo/winter_cells.csv");

/// A table of the invented winter that cannot be read.
#[derive(Debug, Error)]
pub enum WinterError {
    /// Not a row of its table.
    #[error("reading config/demo/{table}")]
    Table {
        /// File name.
        table: &'static str,
        /// Line and column.
        #[source]
        source: csv::Error,
    },
    /// A value that is none.
    #[error("config/demo/{table}: {what}")]
    Value {
        /// File name.
        table: &'static str,
        /// Which value, and what would be right.
        what: String,
    },
}

/// A day that stands as given; temperatures in F.
#[derive(Debug, Clone, Deserialize)]
pub(crate) struct NamedDay {
    pub date: NaiveDate,
    pub quay_low_f: f64,
    pub quay_high_f: f64,
    pub upper_low_f: f64,
    pub upper_high_f: f64,
    pub drive_b_low_f: f64,
    pub drive_b_high_f: f64,
    pub barn_low_f: Option<f64>,
    pub low_hour: Option<u32>,
    pub high_hour: Option<u32>,
    pub shape: String,
    pub upper_hours: String,
    pub cloud_night: f64,
    pub cloud_day: f64,
    pub wind_night_ms: f64,
    pub wind_day_ms: f64,
}

/// Mid-month means in F.
#[derive(Debug, Clone, Deserialize)]
struct NormalRow {
    month: String,
    coast_low_f: f64,
    drive_b_low_f: f64,
    rise_f: f64,
}

/// Mid-month means in F with the day they stand for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Normal {
    pub day: NaiveDate,
    pub coast_low_f: f64,
    pub drive_b_low_f: f64,
    pub rise_f: f64,
}

/// How far a stretch of days lies from the normals.
#[derive(Debug, Clone, Deserialize)]
pub(crate) struct Shift {
    pub from: NaiveDate,
    pub to: NaiveDate,
    pub shift_f: f64,
}

/// Lowest filled lows of a stretch of days.
#[derive(Debug, Clone, Deserialize)]
pub(crate) struct Floor {
    pub from: NaiveDate,
    pub to: NaiveDate,
    pub coast_f: f64,
    pub inland_f: f64,
}

/// Which days a cell follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DayTable {
    /// The shore.
    Quay,
    /// The inland hollow.
    Upper,
    /// Half-way between the two.
    Barn,
    /// The inland town.
    DriveB,
}

/// A grid cell of the invented yard.
#[derive(Debug, Clone, Deserialize)]
pub struct WinterCell {
    /// The site it is named for.
    pub site: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Metres above the sea.
    pub elevation_m: f64,
    /// Office of the US service.
    pub office: String,
    /// Column.
    pub x: u32,
    /// Row.
    pub y: u32,
    /// Which days it follows.
    pub table: DayTable,
    /// What filled clear calm nights add, in K.
    pub night_offset_k: f64,
}

pub(crate) struct Tables {
    pub days: Vec<NamedDay>,
    pub normals: Vec<Normal>,
    pub shifts: Vec<Shift>,
    pub floors: Vec<Floor>,
    pub cells: Vec<WinterCell>,
}

impl Tables {
    pub fn read() -> Result<Self, WinterError> {
        let rows: Vec<NormalRow> = read("winter_normals.csv", NORMALS)?;
        let normals = rows.iter().map(normal).collect::<Result<_, _>>()?;
        Ok(Self {
            days: read("winter_named_days.csv", NAMED_DAYS)?,
            normals,
            shifts: read("winter_shifts.csv", SHIFTS)?,
            floors: read("winter_floors.csv", FLOORS)?,
            cells: read("winter_cells.csv", CELLS)?,
        })
    }
}

fn normal(row: &NormalRow) -> Result<Normal, WinterError> {
    let day =
        NaiveDate::parse_from_str(&format!("{}-15", row.month), "%Y-%m-%d").map_err(|_| {
            let what = format!("{} is not a month such as 2022-10", row.month);
            WinterError::Value { table: "winter_normals.csv", what }
        })?;
    Ok(Normal {
        day,
        coast_low_f: row.coast_low_f,
        drive_b_low_f: row.drive_b_low_f,
        rise_f: row.rise_f,
    })
}

fn read<T: for<'a> Deserialize<'a>>(
    table: &'static str,
    text: &str,
) -> Result<Vec<T>, WinterError> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .map_err(|source| WinterError::Table { table, source })
}

/// `hour=value` pairs, separated by semicolons.
pub(crate) fn pairs(text: &str) -> Result<Vec<(u32, f64)>, WinterError> {
    let pair = |part: &str| {
        let (hour, value) = part.split_once('=')?;
        let hour = hour.trim().parse().ok().filter(|h| *h < 24)?;
        Some((hour, value.trim().parse().ok()?))
    };
    text.split(';')
        .filter(|part| !part.trim().is_empty())
        .map(|part| {
            pair(part).ok_or_else(|| WinterError::Value {
                table: "winter_named_days.csv",
                what: format!("{part} is not an hour and a number such as 15=0.9"),
            })
        })
        .collect()
}
