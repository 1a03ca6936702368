//! The steps of a lay-up in a good order, as data, and the figures of the mixing table.

use serde::Deserialize;

use super::table::{list, rows};
use super::{CatalogueError, CircuitId};

/// One step of the day sheet.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct DayStep {
    /// Short name.
    pub key: String,
    /// What it is about.
    pub title: String,
    when: String,
    needs: String,
    each: String,
    /// What to do and to write down, with `{litres}` and the like still in.
    pub what: String,
    /// The words to type back after `rimeward record BOAT`; `____` is a blank.
    pub record: String,
    /// Where this comes from.
    pub source: String,
}

impl DayStep {
    /// The conditions that must all hold, such as `petrol` or `ashore`.
    pub fn conditions(&self) -> impl Iterator<Item = &str> {
        self.when.split_whitespace()
    }

    /// The circuits of which the boat must have one; none for a step that every boat has.
    pub fn needs(&self) -> impl Iterator<Item = CircuitId> + '_ {
        list(&self.needs).filter(|id| *id != "*").map(CircuitId::from)
    }

    /// Whether it is for all circuits that no other step names.
    #[must_use]
    pub fn is_rest(&self) -> bool {
        self.needs == "*"
    }

    /// Whether every instance gets a line of its own.
    #[must_use]
    pub fn is_for_each(&self) -> bool {
        self.each == "yes"
    }
}

/// The figures of the mixing table: common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MixRatios {
    /// Parts of fuel to one part of oil.
    pub fuel_to_oil: f64,
    /// US fluid ounces in a US gallon.
    pub ounces_per_gallon: f64,
    /// US gallons that an engine takes at fast idle in [`MixRatios::minutes`].
    pub gallons: f64,
    /// Minutes for that amount.
    pub minutes: f64,
    /// How full a tank is left, percent.
    pub tank_percent: f64,
    /// Months that a stabiliser must last, least and most.
    pub stabiliser_months: (f64, f64),
}

#[derive(Deserialize)]
struct RatioRow {
    name: String,
    value: f64,
    #[serde(rename = "unit")]
    _unit: String,
    #[serde(rename = "source")]
    _source: String,
}

/// Reads the table of steps.
pub(crate) fn parse(text: &str) -> Result<Vec<DayStep>, CatalogueError> {
    Ok(rows::<DayStep>("day_sheet.csv", text)?.into_iter().map(|(_, row)| row).collect())
}

/// Reads the figures of the mixing table; each must be there.
pub(crate) fn parse_ratios(text: &str) -> Result<MixRatios, CatalogueError> {
    let rows = rows::<RatioRow>("mix_ratios.csv", text)?;
    let value = |name: &str| {
        rows.iter().find(|(_, row)| row.name == name).map(|(_, row)| row.value).ok_or_else(|| {
            CatalogueError::Row { table: "mix_ratios.csv", line: 0, what: format!("no row {name}") }
        })
    };
    Ok(MixRatios {
        fuel_to_oil: value("fuel_oil_ratio")?,
        ounces_per_gallon: value("fluid_ounces_per_gallon")?,
        gallons: value("mix_gallons")?,
        minutes: value("mix_minutes")?,
        tank_percent: value("tank_percent")?,
        stabiliser_months: (value("stabiliser_months_least")?, value("stabiliser_months_most")?),
    })
}
