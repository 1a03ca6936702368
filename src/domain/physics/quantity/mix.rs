//! Quantities of mixes, sea water and batteries.

use super::input::{Inputs, QuantityError, answer};
use crate::domain::physics::{
    BURST_SHARE, Liquid, STRONGEST, Solute, battery, dilute, mass_from_volume, sea,
    volume_from_mass,
};
use crate::domain::units::{
    Celsius, Litres, MassFraction, Salinity, SpecificGravity, VolumeFraction,
};

type Answer = Result<f64, QuantityError>;

const OFF_CURVE: &str =
    "the curve of this fluid does not reach there (0 C at no solute to its value at 0.60 by mass)";

fn mass_fraction(inputs: &Inputs) -> Result<MassFraction, QuantityError> {
    Ok(MassFraction::new(inputs.between("mass_fraction", 0.0, 1.0)?)?)
}

fn volume_fraction(inputs: &Inputs) -> Result<VolumeFraction, QuantityError> {
    Ok(VolumeFraction::new(inputs.between("volume_fraction_of_pure_volumes_20C", 0.0, 1.0)?)?)
}

/// First ice where the curve holds; beyond it there is no number, not a clamped one.
fn first_ice(solute: Solute, x: MassFraction) -> Answer {
    let inside = (x.value() <= STRONGEST).then(|| solute.first_ice_c(x.value()));
    answer(inside, OFF_CURVE)
}

pub(super) fn first_ice_from_mass(inputs: &Inputs) -> Answer {
    first_ice(inputs.solute()?, mass_fraction(inputs)?)
}

pub(super) fn first_ice_from_volume(inputs: &Inputs) -> Answer {
    let solute = inputs.solute()?;
    first_ice(solute, mass_from_volume(solute, volume_fraction(inputs)?))
}

pub(super) fn mass_of_volume(inputs: &Inputs) -> Answer {
    Ok(mass_from_volume(inputs.solute()?, volume_fraction(inputs)?).value())
}

pub(super) fn volume_of_mass(inputs: &Inputs) -> Answer {
    Ok(volume_from_mass(inputs.solute()?, mass_fraction(inputs)?).value())
}

const PRODUCTS: [(&str, Solute); 5] = [
    ("product_PG_vol_pct", Solute::PropyleneGlycol),
    ("product_EG_vol_pct", Solute::EthyleneGlycol),
    ("product_ethanol_vol_pct", Solute::Ethanol),
    ("product_methanol_vol_pct", Solute::Methanol),
    ("product_glycerol_vol_pct", Solute::Glycerol),
];

/// The product's solute, strength and litres; the solute stands in the name of the input.
fn product(inputs: &Inputs) -> Result<(Solute, VolumeFraction, Litres), QuantityError> {
    let (name, solute) = PRODUCTS
        .into_iter()
        .find(|(name, _)| inputs.names().any(|given| given == *name))
        .ok_or_else(|| QuantityError::Missing("product_PG_vol_pct".to_owned()))?;
    let strength = VolumeFraction::new(inputs.between(name, 0.0, 100.0)? / 100.0)?;
    Ok((solute, strength, Litres::new(inputs.not_negative("product_L")?)?))
}

fn diluted(inputs: &Inputs) -> Result<(Solute, VolumeFraction), QuantityError> {
    let (solute, strength, litres) = product(inputs)?;
    let leftover = Litres::new(inputs.not_negative("leftover_water_L")?)?;
    Ok((solute, dilute(strength, litres, leftover, None)?.mixed))
}

pub(super) fn diluted_volume(inputs: &Inputs) -> Answer {
    Ok(diluted(inputs)?.1.value())
}

pub(super) fn diluted_first_ice(inputs: &Inputs) -> Answer {
    let (solute, mixed) = diluted(inputs)?;
    first_ice(solute, mass_from_volume(solute, mixed))
}

fn mass_for(solute: Solute, inputs: &Inputs) -> Result<MassFraction, QuantityError> {
    let x = answer(solute.mass_fraction_at_c(inputs.celsius("target_C")?), OFF_CURVE)?;
    Ok(MassFraction::new(x)?)
}

pub(super) fn mass_for_first_ice(inputs: &Inputs) -> Answer {
    Ok(mass_for(inputs.solute()?, inputs)?.value())
}

pub(super) fn volume_for_first_ice(inputs: &Inputs) -> Answer {
    let solute = inputs.solute()?;
    Ok(volume_from_mass(solute, mass_for(solute, inputs)?).value())
}

pub(super) fn largest_leftover(inputs: &Inputs) -> Answer {
    let (solute, strength, litres) = product(inputs)?;
    let needed = volume_from_mass(solute, mass_for(solute, inputs)?).value();
    let leftover = litres.value() * (strength.value() / needed - 1.0);
    let possible = (leftover.is_finite() && leftover >= 0.0).then_some(leftover);
    answer(possible, "the product itself does not hold to the target, or any water does")
}

fn blend(inputs: &Inputs) -> Result<Liquid, QuantityError> {
    let (solute, mass_fraction) = (inputs.solute()?, mass_fraction(inputs)?);
    // Beyond its curve there is no answer.
    first_ice(solute, mass_fraction)?;
    Ok(Liquid::Blend { solute, mass_fraction })
}

pub(super) fn ice_share(inputs: &Inputs) -> Answer {
    let t = Celsius::new(inputs.celsius("t_C")?)?;
    answer(blend(inputs)?.ice_share_at(t), OFF_CURVE)
}

pub(super) fn one_third_ice(inputs: &Inputs) -> Answer {
    let t = blend(inputs)?.temperature_at_ice_share(BURST_SHARE).map(Celsius::value);
    answer(t, "the data end before one third of this mix is ice (at 0.40 by mass)")
}

pub(super) fn sea_first_ice(inputs: &Inputs) -> Answer {
    let salinity = Salinity::new(inputs.number("practical_salinity")?)?.value();
    let air = inputs.between_or("air_saturated", (0.0, 1.0), 1.0)?;
    // As far as TEOS-10 goes.
    let dbar = inputs.between_or("pressure_dbar", (0.0, 10_000.0), 0.0)?;
    Ok(sea::first_ice_under_pressure_c(salinity, dbar) + sea::kelvin_by_air(salinity) * (1.0 - air))
}

pub(super) fn sea_first_ice_unesco(inputs: &Inputs) -> Answer {
    let salinity = Salinity::new(inputs.number("practical_salinity")?)?.value();
    // UNESCO 1983: to 500 dbar.
    let dbar = inputs.between_or("pressure_dbar", (0.0, 500.0), 0.0)?;
    Ok(sea::first_ice_under_pressure_c(salinity, dbar))
}

pub(super) fn sea_ice_share(inputs: &Inputs) -> Answer {
    let sea = Liquid::SeaWater { salinity: Salinity::new(inputs.number("practical_salinity")?)? };
    let t = Celsius::new(inputs.celsius("t_C")?)?;
    answer(sea.ice_share_at(t), "the brine would be stronger than 120, where the data end")
}

pub(super) fn battery_first_ice(inputs: &Inputs) -> Answer {
    let gravity = SpecificGravity::new(inputs.number("specific_gravity")?)?;
    Ok(battery::first_ice_c(gravity.value()))
}

pub(super) fn battery_first_ice_from_charge(inputs: &Inputs) -> Answer {
    let percent = inputs.between("state_of_charge_pct", 0.0, 100.0)?;
    Ok(battery::first_ice_c(battery::gravity_at_charge(percent)))
}

pub(super) fn battery_after_standing(inputs: &Inputs) -> Answer {
    let gravity = SpecificGravity::new(inputs.number("specific_gravity")?)?;
    let days = inputs.not_negative("days")?;
    let drop_per_day = inputs.not_negative("drop_per_day")?;
    Ok(battery::gravity_after_standing(gravity.value(), days, drop_per_day))
}
