//! Lead-acid batteries: first ice by specific gravity, gravity by charge and by rested voltage, and the slow loss.
//!
//! The freezing points are a line through the US Army and Polaris rows of `config/catalogue/battery.csv`. How much of
//! the acid is ice below first ice is not said by any source here, so nothing is said.

use std::sync::LazyLock;

use serde::Deserialize;

use super::curve::piecewise_linear;
use super::table::{TableError, rows};

/// First ice in C at the specific gravity (25 C), 1.0 to 1.4.
#[must_use]
pub fn first_ice_c(specific_gravity: f64) -> f64 {
    table().map_or(0.0, |table| piecewise_linear(&table.freeze, specific_gravity))
}

/// Specific gravity of rested acid at a state of charge in percent.
#[must_use]
pub fn gravity_at_charge(percent: f64) -> f64 {
    table().map_or(1.0, |table| piecewise_linear(&table.charge, percent))
}

/// State of charge in percent at a specific gravity, held between flat and full.
#[must_use]
pub fn charge_at_gravity(specific_gravity: f64) -> f64 {
    table().map_or(0.0, |table| {
        let turned: Vec<(f64, f64)> = table.charge.iter().map(|(x, y)| (*y, *x)).collect();
        piecewise_linear(&turned, specific_gravity)
    })
}

/// Specific gravity from the voltage of a battery of `cells` cells that has rested for hours without load or charger.
#[must_use]
pub fn gravity_at_rested_volts(volts: f64, cells: f64) -> f64 {
    volts / cells - constant("rest_volts_per_cell_above_gravity")
}

/// Specific gravity as at 25 C from a hydrometer reading at `t_c`.
#[must_use]
pub fn gravity_at_25c(reading: f64, t_c: f64) -> f64 {
    reading + constant("hydrometer_per_k") * (t_c - 25.0)
}

/// Specific gravity after standing for `days` at a steady loss.
#[must_use]
pub fn gravity_after_standing(specific_gravity: f64, days: f64, drop_per_day: f64) -> f64 {
    (specific_gravity - drop_per_day * days).max(1.0)
}

/// Self-discharge in percent of charge a month at `t_c`, from a rate at 25 C.
///
/// The smaller of the two published temperature factors is used when it is colder than 25 C and the larger when
/// warmer, so that the loss is never taken too small.
#[must_use]
pub fn self_discharge_pct_month(rate_at_25c: f64, t_c: f64) -> f64 {
    let q10 = constant(if t_c < 25.0 { "q10_low" } else { "q10_high" });
    rate_at_25c * q10.powf((t_c - 25.0) / 10.0)
}

/// The usual self-discharge of a flooded battery at 25 C, percent a month.
#[must_use]
pub fn flooded_self_discharge_pct_month() -> f64 {
    constant("self_discharge_pct_month_25c")
}

/// Days until a load of `milliampere` takes a battery of `ampere_hours` from one state of charge to another (percent);
/// `None` without a load or when it is already there.
#[must_use]
pub fn days_to_charge(from: f64, to: f64, ampere_hours: f64, milliampere: f64) -> Option<f64> {
    (milliampere > 0.0 && from > to)
        .then(|| (from - to) / 100.0 * ampere_hours * 1000.0 / (24.0 * milliampere))
}

/// A load that somebody forgot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// What it draws, mA.
    pub milliampere: f64,
    /// What the battery holds when full, Ah.
    pub ampere_hours: f64,
}

/// Specific gravity after standing for `days` at `t_c` without a charger: what the acid had as charge, less its own loss
/// and the load's, never below flat.
#[must_use]
pub fn gravity_after(specific_gravity: f64, days: f64, t_c: f64, load: Option<Load>) -> f64 {
    let days = days.max(0.0);
    let own = self_discharge_pct_month(flooded_self_discharge_pct_month(), t_c) * days
        / constant("days_a_month").max(1.0);
    let drawn = load.filter(|load| load.ampere_hours > 0.0).map_or(0.0, |load| {
        100.0 * load.milliampere.max(0.0) * 24.0 * days / 1000.0 / load.ampere_hours
    });
    let charge = (charge_at_gravity(specific_gravity) - own - drawn).max(0.0);
    // A full battery of stronger acid is not weaker for having a table that ends.
    gravity_at_charge(charge).min(specific_gravity)
}

/// At what temperature a battery is taken to stand where nobody says, C.
#[must_use]
pub fn stands_at_c() -> f64 {
    constant("stands_at_c")
}

/// Whether the battery table reads as it should.
///
/// # Errors
/// [`TableError`] says where it does not.
pub fn check_table() -> Result<(), TableError> {
    TABLE.as_ref().map(|_| ()).map_err(Clone::clone)
}

#[derive(Debug, Deserialize)]
struct Row {
    kind: String,
    x: String,
    y: f64,
}

#[derive(Debug)]
struct Table {
    freeze: Vec<(f64, f64)>,
    charge: Vec<(f64, f64)>,
    constants: Vec<(String, f64)>,
}

static TABLE: LazyLock<Result<Table, TableError>> = LazyLock::new(|| {
    let rows: Vec<Row> =
        rows("battery.csv", include_str!("../../../config/catalogue/battery.csv"))?;
    let mut table = Table { freeze: Vec::new(), charge: Vec::new(), constants: Vec::new() };
    for row in rows {
        let refuse = |reason: &str| TableError::Value {
            table: "battery.csv",
            row: row.x.clone(),
            reason: reason.to_owned(),
        };
        if row.kind == "constant" {
            table.constants.push((row.x, row.y));
            continue;
        }
        let x = row.x.parse().map_err(|_| refuse("x is not a number"))?;
        match row.kind.as_str() {
            "freeze" => table.freeze.push((x, row.y)),
            "charge" => table.charge.push((x, row.y)),
            _ => return Err(refuse("the kind is none of freeze, charge, constant")),
        }
    }
    Ok(table)
});

fn table() -> Option<&'static Table> {
    TABLE.as_ref().ok()
}

fn constant(name: &str) -> f64 {
    table()
        .and_then(|table| table.constants.iter().find(|(known, _)| known == name))
        .map_or(0.0, |(_, value)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_reads_and_knows_every_constant() {
        check_table().unwrap();
        for name in [
            "rest_volts_per_cell_above_gravity",
            "hydrometer_per_k",
            "q10_low",
            "q10_high",
            "stands_at_c",
            "days_a_month",
        ] {
            assert!(constant(name) > 0.0, "{name}");
        }
    }

    #[test]
    fn a_winter_takes_a_little_and_a_forgotten_load_takes_all() {
        // 5 % a month at 25 C is 2.7 % at 10 C with a factor of 1.5 for 10 K: 13.6 % in five months.
        let after = gravity_after(1.265, 152.0, 10.0, None);
        assert!((charge_at_gravity(after) - 86.4).abs() < 0.3, "{}", charge_at_gravity(after));
        // 50 mA take 36 Ah in 30 days: 45 % of 80 Ah.
        let load = Some(Load { milliampere: 50.0, ampere_hours: 80.0 });
        let left = charge_at_gravity(gravity_after(1.265, 30.0, -10.0, load));
        assert!((53.0..55.0).contains(&left), "{left}");
        let flat = gravity_after(1.265, 120.0, -10.0, load);
        assert!((flat - gravity_at_charge(0.0)).abs() < 1e-9);
        assert!(first_ice_c(flat) > -11.0);
        // Standing never makes it stronger.
        assert_eq!(gravity_after(1.10, 0.0, 10.0, None), 1.10);
    }

    #[test]
    fn a_flat_battery_freezes_where_a_full_one_does_not() {
        // Rolls gravities, then the Army and Polaris rows.
        assert!((first_ice_c(gravity_at_charge(0.0)) + 10.3).abs() < 0.1);
        assert!((first_ice_c(gravity_at_charge(100.0)) + 59.4).abs() < 0.1);
        assert!((charge_at_gravity(gravity_at_charge(60.0)) - 60.0).abs() < 1e-9);
    }

    #[test]
    fn the_cold_slows_self_discharge_but_not_a_forgotten_load() {
        // 5 % a month at 25 C becomes 0.9 to 1.8 at 0 C; the cautious end is taken.
        assert!((self_discharge_pct_month(5.0, 0.0) - 1.81).abs() < 0.01);
        assert!((days_to_charge(100.0, 20.0, 100.0, 50.0).unwrap() - 66.7).abs() < 0.1);
        assert_eq!(days_to_charge(50.0, 60.0, 100.0, 50.0), None);
        // 12.65 V over six cells is a full battery.
        assert!((gravity_at_rested_volts(12.65, 6.0) - 1.263).abs() < 0.001);
    }
}
