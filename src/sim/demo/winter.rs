//! What the weather was, hour by hour, in the invented winter 2022-23 on the coast of Maine.
//!
//! Named days stand as `config/demo/winter_named_days.csv` gives them; between them the lows follow a random walk from
//! the seed, bound to the named days at both ends, around the normals. As weather history only the figures that the
//! tables mark as published may be quoted.

mod curve;
mod days;
mod past;
mod sky;
mod tables;

use chrono::{DateTime, NaiveDate, Utc};

use crate::domain::weather::Step;

pub use past::past_days;
pub use tables::{DayTable, WinterCell, WinterError};

/// The seed of the demonstration: of the first sixty the one whose monthly mean lows lie nearest to the normals.
pub const DEMO_SEED: u64 = 21;
/// First local day that is made.
pub const FIRST_DAY: (i32, u32, u32) = (2022, 9, 20);
/// Last local day on which anything is forecast.
pub const LAST_DAY: (i32, u32, u32) = (2023, 5, 31);
/// Days that are made: to nine days after the last, so that its forecasts have something to be wrong about.
const DAYS: usize = 263;
/// How far from a cell's point a place may lie and still be in it, in degrees.
const CELL_DEG: f64 = 0.012;

/// The winter at all cells.
#[derive(Debug, Clone)]
pub struct Winter {
    cells: Vec<WinterCell>,
    truth: Vec<Vec<Step>>,
    first_hour: i64,
}

impl Winter {
    /// Makes the winter of a seed; the same seed makes the same winter to the bit.
    ///
    /// # Errors
    /// [`WinterError`] when a table in `config/demo` cannot be read.
    pub fn reconstruct(seed: u64) -> Result<Self, WinterError> {
        let tables = tables::Tables::read()?;
        let first = NaiveDate::from_ymd_opt(FIRST_DAY.0, FIRST_DAY.1, FIRST_DAY.2);
        let first = first.unwrap_or_default();
        let sky = sky::Sky::make(&tables, first, DAYS, seed);
        let days = days::Days::make(&tables, &sky, first, seed)?;
        let mut truth = Vec::new();
        let mut first_hour = 0;
        for cell in &tables.cells {
            let curve = curve::hours(cell, &days, &sky, first);
            first_hour = curve.first_hour;
            truth.push(curve.steps);
        }
        Ok(Self { cells: tables.cells, truth, first_hour })
    }

    /// The grid cells, in the order of their table; an index into this names a cell.
    #[must_use]
    pub fn cells(&self) -> &[WinterCell] {
        &self.cells
    }

    /// The index of the cell that holds a point.
    #[must_use]
    pub fn cell_at(&self, latitude: f64, longitude: f64) -> Option<usize> {
        self.cells.iter().position(|cell| {
            (cell.latitude - latitude).abs() <= CELL_DEG
                && (cell.longitude - longitude).abs() <= CELL_DEG
        })
    }

    /// The index of the cell with this office, column and row.
    #[must_use]
    pub fn cell_of_grid(&self, office: &str, x: u32, y: u32) -> Option<usize> {
        self.cells.iter().position(|cell| cell.office == office && cell.x == x && cell.y == y)
    }

    /// What the weather was in a cell in the whole hour of `time`; `None` outside the winter.
    #[must_use]
    pub fn truth(&self, cell: usize, time: DateTime<Utc>) -> Option<&Step> {
        self.truth_at_hour(cell, time.timestamp().div_euclid(3600))
    }

    /// As [`Winter::truth`], by hours since 1970.
    #[must_use]
    pub(crate) fn truth_at_hour(&self, cell: usize, hour: i64) -> Option<&Step> {
        let at = usize::try_from(hour.checked_sub(self.first_hour)?).ok()?;
        self.truth.get(cell)?.get(at)
    }

    /// All hours of a cell, in order, one hour apart.
    #[must_use]
    pub fn hours(&self, cell: usize) -> &[Step] {
        self.truth.get(cell).map_or(&[], Vec::as_slice)
    }

    /// The first hour that is made, as hours since 1970, and how many there are.
    #[must_use]
    pub(crate) fn span(&self) -> (i64, usize) {
        (self.first_hour, self.truth.iter().map(Vec::len).min().unwrap_or(0))
    }
}
