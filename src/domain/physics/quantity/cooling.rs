//! Quantities of parts, pipes, ice fronts and night skies.

use super::input::{Inputs, QuantityError, WARMEST_C, answer};
use crate::domain::physics::Liquid;
use crate::domain::physics::constants::{HEAT_OF_FUSION_J_KG, SECONDS_PER_HOUR};
use crate::domain::physics::lumped::{Wave, after_step_c, plateau_h, time_to_cool_h, under_ramp_c};
use crate::domain::physics::part::PartModel;
use crate::domain::physics::pipes::{AshraePipe, BarePipe, InsulatedPipe, plane_ice_h};
use crate::domain::physics::stefan::{TwoPhase, one_phase_lambda};
use crate::domain::physics::surroundings::clear_sky_offset;
use crate::domain::units::{
    Celsius, Fraction, JoulesPerKelvin, Kilograms, MassFraction, WattsPerKelvin,
};

type Answer = Result<f64, QuantityError>;

const NEVER: &str = "it never gets there: the end must lie between the start and the air";
const NOT_COLD: &str = "air that is not below the freezing point freezes nothing";

pub(super) fn cool_time(inputs: &Inputs) -> Answer {
    let (start, air) = (inputs.celsius("start_C")?, inputs.celsius("ambient_C")?);
    let end = inputs.celsius("end_C")?;
    answer(time_to_cool_h(start, air, end, inputs.positive("tau_h")?), NEVER)
}

pub(super) fn after_step(inputs: &Inputs) -> Answer {
    let (start, air) = (inputs.celsius("start_C")?, inputs.celsius("ambient_C")?);
    Ok(after_step_c(start, air, inputs.positive("tau_h")?, inputs.not_negative("time_h")?))
}

pub(super) fn under_ramp(inputs: &Inputs) -> Answer {
    let (start, air) = (inputs.celsius("start_C")?, inputs.celsius("ambient_start_C")?);
    let rate = inputs.between("ambient_rate_K_h", -100.0, 100.0)?;
    Ok(under_ramp_c(start, air, rate, inputs.positive("tau_h")?, inputs.not_negative("time_h")?))
}

pub(super) fn freeze_lumped(inputs: &Inputs) -> Answer {
    let (water, ua) = (inputs.positive("water_kg")?, inputs.positive("UA_W_K")?);
    let below = inputs.freezes_c()? - inputs.celsius("ambient_C")?;
    answer(plateau_h(water, ua, below, inputs.between("fraction", 0.0, 1.0)?), NOT_COLD)
}

pub(super) fn through_freezing(inputs: &Inputs) -> Answer {
    let (water, ua) = (inputs.positive("water_kg")?, inputs.positive("UA_W_K")?);
    let tau_h = |name| Ok::<f64, QuantityError>(inputs.positive(name)? / ua / SECONDS_PER_HOUR);
    let (liquid_h, frozen_h) = (tau_h("C_liquid_J_K")?, tau_h("C_frozen_J_K")?);
    let (start, end) = (inputs.between("start_C", 0.0, WARMEST_C)?, inputs.celsius("end_C")?);
    let air = inputs.celsius("ambient_C")?;
    if end >= 0.0 {
        return answer(time_to_cool_h(start, air, end, liquid_h), NEVER);
    }
    let cool = answer(time_to_cool_h(start, air, 0.0, liquid_h), NEVER)?;
    let plateau = answer(plateau_h(water, ua, -air, 1.0), NOT_COLD)?;
    Ok(cool + plateau + answer(time_to_cool_h(0.0, air, end, frozen_h), NEVER)?)
}

fn bare_pipe(inputs: &Inputs) -> Result<BarePipe, QuantityError> {
    let bore_m = inputs.positive("bore_m")?;
    let outside_m = inputs.at_least("outside_m", bore_m)?;
    Ok(BarePipe { bore_m, outside_m, film_w_m2k: inputs.positive("h_W_m2K")? })
}

pub(super) fn pipe_to_zero(inputs: &Inputs) -> Answer {
    let pipe = bare_pipe(inputs)?;
    answer(pipe.time_to_zero_h(inputs.celsius("start_C")?, inputs.celsius("ambient_C")?), NEVER)
}

pub(super) fn pipe_one_third(inputs: &Inputs) -> Answer {
    let pipe = bare_pipe(inputs)?;
    answer(pipe.time_to_freeze_h(inputs.celsius("ambient_C")?, 1.0 / 3.0), NOT_COLD)
}

pub(super) fn pipe_all(inputs: &Inputs) -> Answer {
    let pipe = bare_pipe(inputs)?;
    answer(pipe.time_to_freeze_h(inputs.celsius("ambient_C")?, 1.0), NOT_COLD)
}

pub(super) fn insulated_pipe(inputs: &Inputs) -> Answer {
    let bore_m = inputs.positive("bore_m")?;
    let pipe_outside_m = inputs.at_least("pipe_outside_m", bore_m)?;
    let pipe = InsulatedPipe {
        bore_m,
        pipe_outside_m,
        insulation_outside_m: inputs.at_least("insulation_outside_m", pipe_outside_m)?,
        conductivity_w_mk: inputs.positive("lambda_W_mK")?,
        film_w_m2k: inputs.positive("h_W_m2K")?,
    };
    let fraction = inputs.between("fraction", 0.0, 1.0)?;
    answer(pipe.time_to_freeze_h(inputs.celsius("ambient_C")?, fraction), NOT_COLD)
}

pub(super) fn ashrae_pipe(inputs: &Inputs) -> Answer {
    let bore_in = inputs.positive("bore_in")?;
    let pipe_outside_in = inputs.at_least("pipe_outside_in", bore_in)?;
    let pipe = AshraePipe {
        bore_in,
        pipe_outside_in,
        insulation_outside_in: inputs.at_least("insulation_outside_in", pipe_outside_in)?,
        conductivity_btu_in: inputs.positive("k_Btu_in")?,
    };
    let air = inputs.between("ambient_F", -459.67, 302.0)?;
    answer(pipe.time_to_32f_h(inputs.between("start_F", -459.67, 302.0)?, air), NEVER)
}

pub(super) fn plane_ice(inputs: &Inputs) -> Answer {
    let (ice, air) = (inputs.not_negative("ice_m")?, inputs.celsius("ambient_C")?);
    answer(plane_ice_h(ice, air, inputs.positive("h_W_m2K")?), NOT_COLD)
}

pub(super) fn stefan_lambda(inputs: &Inputs) -> Answer {
    let root = one_phase_lambda(inputs.positive("stefan_number")?);
    answer(root, "no root below 5: the Stefan number is far beyond any freezing")
}

fn two_phase(inputs: &Inputs) -> Result<TwoPhase, QuantityError> {
    let freeze = inputs.freezes_c()?;
    Ok(TwoPhase {
        wall_below_k: freeze - inputs.celsius("wall_C")?,
        water_above_k: inputs.celsius("initial_C")? - freeze,
        ice_conductivity: inputs.positive("k_ice")?,
        ice_cp: inputs.positive("c_ice")?,
        water_conductivity: inputs.positive("k_water")?,
        water_cp: inputs.positive("c_water")?,
        density: inputs.positive("rho_both")?,
        fusion_j_kg: inputs.positive("L")?,
    })
}

const NO_FRONT: &str = "no front grows: the wall must be below freezing and the water not";

pub(super) fn neumann_lambda(inputs: &Inputs) -> Answer {
    answer(two_phase(inputs)?.lambda(), NO_FRONT)
}

pub(super) fn neumann_front_mm(inputs: &Inputs) -> Answer {
    let front_m = two_phase(inputs)?.front_m(inputs.not_negative("time_s")?);
    answer(front_m.map(|metres| metres * 1000.0), NO_FRONT)
}

pub(super) fn sine_gain(inputs: &Inputs) -> Answer {
    Ok(Wave::gain(inputs.positive("period_h")?, inputs.positive("tau_h")?))
}

pub(super) fn sine_lag(inputs: &Inputs) -> Answer {
    Ok(Wave::lag_h(inputs.positive("period_h")?, inputs.positive("tau_h")?))
}

fn wave(inputs: &Inputs) -> Result<Wave, QuantityError> {
    let period_h = inputs.between_or("period_h", (0.01, 1.0e6), 24.0)?;
    Ok(Wave {
        mean_c: inputs.celsius("ambient_mean_C")?,
        amplitude_k: inputs.between("ambient_amplitude_K", -100.0, 100.0)?,
        peak_at_h: inputs.between_or("ambient_peak_at_h", (-1.0e6, 1.0e6), 0.0)?,
        period_h,
    })
}

pub(super) fn sine_minimum(inputs: &Inputs) -> Answer {
    Ok(wave(inputs)?.steady_minimum_c(inputs.positive("tau_h")?))
}

pub(super) fn under_sine(inputs: &Inputs) -> Answer {
    let (wave, start) = (wave(inputs)?, inputs.celsius("start_C")?);
    Ok(wave.part_c(start, inputs.positive("tau_h")?, inputs.not_negative("time_h")?))
}

pub(super) fn degree_hours(inputs: &Inputs) -> Answer {
    Ok(wave(inputs)?.freezing_degree_hours(inputs.freezes_c()?))
}

pub(super) fn frozen_in_a_night(inputs: &Inputs) -> Answer {
    let (water, ua) = (inputs.positive("water_kg")?, inputs.positive("UA_W_K")?);
    let kelvin_hours = wave(inputs)?.freezing_degree_hours(inputs.freezes_c()?);
    let share = ua * kelvin_hours * SECONDS_PER_HOUR / (water * HEAT_OF_FUSION_J_KG);
    Ok(share.min(1.0))
}

pub(super) fn blend_time(inputs: &Inputs) -> Answer {
    let liquid = Liquid::Blend {
        solute: inputs.solute()?,
        mass_fraction: MassFraction::new(inputs.between("mass_fraction", 0.0, 0.6)?)?,
    };
    let part = PartModel::new(
        &liquid,
        Kilograms::new(inputs.positive("mass_kg")?)?,
        JoulesPerKelvin::new(inputs.between_or("solid_J_K", (0.0, 1.0e9), 0.0)?)?,
        WattsPerKelvin::new(inputs.positive("UA_W_K")?)?,
    )?;
    let state = |name| {
        let t = Celsius::new(inputs.celsius(name)?)?;
        Ok::<f64, QuantityError>(part.enthalpy_in_balance(t))
    };
    answer(part.hours_to(state("start_C")?, state("end_C")?, inputs.celsius("ambient_C")?), NEVER)
}

pub(super) fn night_sky(inputs: &Inputs) -> Answer {
    let offset = clear_sky_offset(
        Celsius::new(inputs.celsius("air_C")?)?,
        Celsius::new(inputs.celsius("dew_point_C")?)?,
        Fraction::new(inputs.between_or("cloud", (0.0, 1.0), 0.0)?)?,
        Fraction::new(inputs.between("sky_view", 0.0, 1.0)?)?,
        Fraction::new(inputs.between("emissivity", 0.0, 1.0)?)?,
        inputs.positive("h_convection")?,
    );
    Ok(offset.value())
}
