//! A part through past hours of which some are known and some are not.
//!
//! In an hour that nobody knows a part may cool to its first ice and thaw, but no ice comes of it: that something has frozen is
//! said by known hours only. How warm such hours were is drawn.

use crate::domain::physics::part::PartModel;
use crate::domain::risk::ambient::FeltHour;
use crate::domain::units::Celsius;

/// Where a part may stand at the start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartState {
    /// Its heat, J, as its model counts it.
    pub now_j: f64,
    /// The least heat that it had since it was filled, as far back as is looked, J.
    pub lowest_j: f64,
}

/// Middles of eight slices of a normal distribution, each as likely as the others, in standard deviations (common tables).
const SLICES: [f64; 8] = [-1.534, -0.887, -0.489, -0.157, 0.157, 0.489, 0.887, 1.534];

/// How far the hours that nobody knows may lie off, K, coldest first.
#[must_use]
pub fn spread(sd_k: f64) -> [f64; 8] {
    SLICES.map(|slice| slice * sd_k)
}

/// `model` after the hours, liquid at first, where those that nobody knows were `off_k` warmer than usual.
#[must_use]
pub fn through_hours(
    model: &PartModel,
    first_ice_c: f64,
    felt: &[FeltHour],
    off_k: f64,
) -> StartState {
    let air_c = |hour: &FeltHour| if hour.known { hour.air_c } else { hour.air_c + off_k };
    let first_c = felt.first().map_or(first_ice_c, |hour| air_c(hour).max(first_ice_c));
    let liquid_j = model.enthalpy_at(Celsius::clamped(first_ice_c), 0.0);
    let mut now_j = model.enthalpy_at(Celsius::clamped(first_c), 0.0);
    let mut lowest_j = now_j;
    for hour in felt {
        let next_j = if hour.stretch > 1.0 {
            model.step(now_j, air_c(hour), hour.stretch)
        } else {
            model.step_hour(now_j, air_c(hour))
        };
        now_j = if hour.known { next_j } else { next_j.max(now_j.min(liquid_j)) };
        lowest_j = lowest_j.min(now_j);
    }
    StartState { now_j, lowest_j }
}
