//! Film coefficients of horizontal cylinders in air near 0 C, convection and radiation together.

use crate::domain::physics::constants::STEFAN_BOLTZMANN;
use crate::domain::units::MetresPerSecond;

/// Dry air at 0 C and one atmosphere (standard engineering tables): conductivity W/(m K).
const AIR_CONDUCTIVITY: f64 = 0.0243;
/// Kinematic viscosity, m2/s.
const AIR_VISCOSITY: f64 = 1.335e-5;
/// Prandtl number.
const AIR_PRANDTL: f64 = 0.711;

/// Radiation of a painted or rusty surface to surroundings near its own temperature, W/(m2 K): `4 e s T^3` at an
/// emissivity of 0.9 and 270 K.
fn radiation() -> f64 {
    4.0 * 0.9 * STEFAN_BOLTZMANN * 270.0_f64.powi(3)
}

/// W/(m2 K) in cross wind (Churchill and Bernstein, J. Heat Transfer 99 (1977) 300), for `diameter_m` above 0.
#[must_use]
pub fn film_in_wind(diameter_m: f64, wind: MetresPerSecond) -> f64 {
    let reynolds = wind.value() * diameter_m / AIR_VISCOSITY;
    let shape = (1.0 + (0.4 / AIR_PRANDTL).powf(2.0 / 3.0)).powf(0.25);
    let nusselt = 0.3
        + 0.62 * reynolds.sqrt() * AIR_PRANDTL.cbrt() / shape
            * (1.0 + (reynolds / 282_000.0).powf(0.625)).powf(0.8);
    nusselt * AIR_CONDUCTIVITY / diameter_m + radiation()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_films_lie_within_three_percent_of_worked_values() {
        // Worked with the same two correlations and air properties of another table.
        for (diameter, wind, worked) in
            [(0.025, 1.0, 25.1), (0.025, 4.0, 47.9), (0.05, 2.0, 26.0), (0.3, 8.0, 29.9)]
        {
            let film = film_in_wind(diameter, MetresPerSecond::new(wind).unwrap());
            assert!((film / worked - 1.0).abs() < 0.03, "{diameter} {wind}: {film}");
        }
    }
}
