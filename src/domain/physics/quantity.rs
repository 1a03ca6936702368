//! Quantities by name: the published check values and how the service computes each.
//!
//! The harness of `verify` runs the same curves and kernels that the warnings use, so that a row that passes says
//! something about the warnings.

mod cooling;
mod input;
mod mix;
mod register;
mod kind;

pub use input::{Inputs, QuantityError};
pub use kind::Quantity;

use register::QUANTITIES;

/// Every quantity, in the order in which they are documented.
#[must_use]
pub fn quantities() -> &'static [Quantity] {
    QUANTITIES
}

/// Computes `quantity` from its inputs; `None` for a name that is not known.
///
/// # Errors
/// [`QuantityError`] for an input that is missing, is no number or lies outside its range, and for a question that has
/// no answer. It is never answered with a number.
pub fn compute(quantity: &str, inputs: &Inputs) -> Result<Option<f64>, QuantityError> {
    let Some(known) = QUANTITIES.iter().find(|known| known.name == quantity) else {
        return Ok(None);
    };
    let value = (known.compute)(inputs)?;
    if value.is_finite() {
        Ok(Some(value))
    } else {
        Err(QuantityError::NoAnswer(format!("the inputs of {quantity} lead to {value}")))
    }
}

/// Inputs that were given but that the quantity does not use (`reference` only says where a row is from).
#[must_use]
pub fn unused_inputs(quantity: &str, inputs: &Inputs) -> Vec<String> {
    let Some(known) = QUANTITIES.iter().find(|known| known.name == quantity) else {
        return Vec::new();
    };
    let used = |name: &str| {
        name == "reference" || known.needs.contains(&name) || known.takes.contains(&name)
    };
    inputs.names().filter(|name| !used(name)).map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(quantity: &str, inputs: &str) -> Result<Option<f64>, QuantityError> {
        compute(quantity, &Inputs::parse(inputs).unwrap())
    }

    #[test]
    fn there_are_thirty_nine_and_an_unknown_one_is_never_answered() {
        assert_eq!(quantities().len(), 39);
        assert_eq!(asked("phase_of_the_moon", "t_C=1"), Ok(None));
    }

    #[test]
    fn every_quantity_says_what_it_misses() {
        for quantity in quantities() {
            let refusal = asked(quantity.name, "").unwrap_err();
            assert!(matches!(refusal, QuantityError::Missing(_)), "{}: {refusal}", quantity.name);
        }
    }

    #[test]
    fn a_question_without_an_answer_gets_no_number() {
        for (quantity, inputs) in [
            ("first_ice_from_mass_fraction", "fluid=propylene_glycol; mass_fraction=1.2"),
            ("first_ice_from_mass_fraction", "fluid=propylene_glycol; mass_fraction=NaN"),
            ("first_ice_from_mass_fraction", "fluid=propylene_glycol; mass_fraction=0.7"),
            ("first_ice_from_mass_fraction", "fluid=maple_syrup; mass_fraction=0.2"),
            ("diluted_volume_fraction", "product_PG_vol_pct=30; product_L=-1; leftover_water_L=1"),
            ("diluted_volume_fraction", "product_PG_vol_pct=30; product_L=0; leftover_water_L=0"),
            ("temperature_at_one_third_ice", "fluid=propylene_glycol; mass_fraction=0.5"),
            ("mass_fraction_for_first_ice", "fluid=propylene_glycol; target_C=-90"),
            ("ice_mass_fraction_lever", "fluid=ethanol; mass_fraction=0.2; t_C=-300"),
            ("time_to_cool_step", "start_C=5; ambient_C=2; end_C=0; tau_h=3"),
            ("time_to_cool_step", "start_C=5; ambient_C=-2; end_C=0; tau_h=-3"),
            ("pipe_time_to_freeze_all", "bore_m=0.05; outside_m=0.04; h_W_m2K=9; ambient_C=-5"),
            ("battery_first_ice", "specific_gravity=2"),
            ("time_to_cool_step", "start_C=900; ambient_C=-2; end_C=0; tau_h=3"),
            ("time_to_cool_step", "start_C=5; ambient_C=-2; end_C=0; tau_h=1e300"),
            ("plane_ice_time_robin", "ice_m=4e7; ambient_C=-5; h_W_m2K=20"),
            ("sea_water_first_ice_unesco", "practical_salinity=35; pressure_dbar=-1e9"),
            (
                "diluted_volume_fraction",
                "product_PG_vol_pct=30; product_L=1e300; leftover_water_L=1",
            ),
            (
                "largest_leftover_water_for_first_ice",
                "product_PG_vol_pct=30; product_L=10; target_C=-30",
            ),
        ] {
            assert!(asked(quantity, inputs).is_err(), "{quantity} {inputs}");
        }
    }

    #[test]
    fn an_input_that_is_not_used_is_named() {
        let inputs = Inputs::parse("tau_h=1; period_h=24; colour=2; reference=printed").unwrap();
        assert_eq!(unused_inputs("daily_sine_gain", &inputs), ["colour"]);
    }
}
