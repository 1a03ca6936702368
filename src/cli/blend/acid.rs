//! The acid of a battery, now or after months without a charger.

use super::input::{BlendArgs, BlendError, named, needs};
use crate::domain::physics::battery;
use crate::domain::units::SpecificGravity;

/// Cells of a 12 V battery.
const CELLS: f64 = 6.0;
/// Volts of a 12 V battery at rest: 2.2 V a cell at the most (makers' tables, from memory), flat at the least.
const RESTED_V_MOST: f64 = 13.2;
const RESTED_V_LEAST: f64 = 11.2;
/// Longest standing that is asked about, days.
const DAYS_MOST: f64 = 3650.0;
/// More is no load of a boat, mA.
const LOAD_MA_MOST: f64 = 1.0e6;
/// More is no battery of a boat, Ah.
const AMPERE_HOURS_MOST: f64 = 1.0e5;

/// The acid by its gravity, charge or rested voltage, after the days that it will have stood.
pub(super) fn of(args: &BlendArgs) -> Result<SpecificGravity, BlendError> {
    let gravity = match (args.sg, args.charge, args.volts) {
        (Some(sg), ..) => named("--sg", SpecificGravity::new(sg))?,
        (_, Some(charge), _) => {
            SpecificGravity::clamped(battery::gravity_at_charge(100.0 * charge))
        }
        (_, _, Some(volts)) => {
            // More is a charger's, less is no battery of six cells: neither tells of the acid.
            if !(RESTED_V_LEAST..=RESTED_V_MOST).contains(&volts) {
                return Err(BlendError::NotRested { volts });
            }
            let gravity = battery::gravity_at_rested_volts(volts, CELLS);
            named("--volts", SpecificGravity::new(gravity))?
        }
        _ => return Err(needs(args, "one of --sg, --charge and --volts")),
    };
    let within = |flag, value: Option<f64>, most: f64| match value {
        Some(value) if !(0.0..=most).contains(&value) => {
            Err(BlendError::OutOfRange { flag, value, most })
        }
        value => Ok(value),
    };
    let days = within("--days", args.days, DAYS_MOST)?;
    if args.load_ma.is_some_and(|load| load > 0.0) && args.amp_hours.is_none_or(|ah| ah <= 0.0) {
        return Err(needs(args, "--amp-hours above 0 with --load-ma"));
    }
    let load = within("--load-ma", args.load_ma, LOAD_MA_MOST)?
        .zip(within("--amp-hours", args.amp_hours, AMPERE_HOURS_MOST)?)
        .map(|(milliampere, ampere_hours)| battery::Load { milliampere, ampere_hours });
    let gravity = match days {
        Some(days) => battery::gravity_after(gravity.value(), days, battery::stands_at_c(), load),
        None => gravity.value(),
    };
    Ok(SpecificGravity::clamped(gravity))
}
