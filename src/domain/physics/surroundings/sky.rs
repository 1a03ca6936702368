//! How much colder than the air a surface under a clear night sky gets.

use crate::domain::physics::constants::{STEFAN_BOLTZMANN, ZERO_C_IN_K};
use crate::domain::units::{Celsius, Fraction, KelvinDelta};

/// Share of the sky's pull that a full cover of cloud takes away (usual form, coefficient from memory).
const CLOUD_TAKES: f64 = 0.8;

/// Share of a clear sky's pull that is left under the covered share `cloud`.
fn cloud_leaves(cloud: Fraction) -> f64 {
    1.0 - CLOUD_TAKES * cloud.value()
}

/// Temperature of the clear sky (Berdahl and Martin 1984 as in Duffie and Beckman, without the term of the hour).
///
/// A dew point above the air temperature counts as the air temperature. Fitted for dew points of about -20 to 30 C.
#[must_use]
pub fn sky_temperature(air: Celsius, dew_point: Celsius) -> Celsius {
    let dew = dew_point.value().min(air.value());
    // Below -38 C the square term turns the formula round; the driest air of the fit then stands.
    let dew = dew.max(-38.0);
    let emissivity = 0.711 + 0.0056 * dew + 0.000_073 * dew * dew;
    let kelvin = (air.value() + ZERO_C_IN_K) * emissivity.clamp(0.0, 1.0).powf(0.25);
    Celsius::clamped(kelvin - ZERO_C_IN_K)
}

/// Surface less air, in K, at night: never above 0.
///
/// `cloud` is the covered share, `sky_view` the share of its surroundings that is sky (0 under a deck, 0.5 for a small
/// body in the open, 1 for a plate facing up), `h_convection_w_m2k` the convection alone. An upper bound for a thin dry
/// skin: frost and stored heat make it less. Without convection there is no steady answer to give and it is 0.
#[must_use]
pub fn clear_sky_offset(
    air: Celsius,
    dew_point: Celsius,
    cloud: Fraction,
    sky_view: Fraction,
    emissivity: Fraction,
    h_convection_w_m2k: f64,
) -> KelvinDelta {
    let air_k = air.value() + ZERO_C_IN_K;
    let sky_k = (sky_temperature(air, dew_point).value() + ZERO_C_IN_K).min(air_k);
    let seen = sky_view.value() * cloud_leaves(cloud);
    let radiates = emissivity.value() * STEFAN_BOLTZMANN;
    if h_convection_w_m2k.is_nan() || h_convection_w_m2k <= 0.0 {
        return KelvinDelta::clamped(0.0);
    }
    let comes_in = radiates * (seen * sky_k.powi(4) + (1.0 - seen) * air_k.powi(4));
    let mut surface_k = air_k;
    // Newton from above on a rising convex function: four steps reach 1e-9 K.
    for _ in 0..6 {
        let excess =
            h_convection_w_m2k * (surface_k - air_k) + radiates * surface_k.powi(4) - comes_in;
        surface_k -= excess / (h_convection_w_m2k + 4.0 * radiates * surface_k.powi(3));
    }
    KelvinDelta::clamped((surface_k - air_k).min(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offset(air: f64, dew: f64, cloud: f64, view: f64, h: f64) -> f64 {
        let share = |value| Fraction::new(value).unwrap();
        let (air, dew) = (Celsius::clamped(air), Celsius::clamped(dew));
        clear_sky_offset(air, dew, share(cloud), share(view), share(0.9), h).value()
    }

    #[test]
    fn a_plate_facing_a_clear_sky_falls_seven_kelvin_below_the_air() {
        // Worked steady balances with the Berdahl-Martin sky, emissivity 0.9.
        for (air, dew, view, h, worked) in [
            (5.0, 0.0, 1.0, 4.0, -10.84),
            (0.0, -4.0, 1.0, 8.0, -7.35),
            (0.0, -4.0, 0.5, 8.0, -3.65),
            (-10.0, -15.0, 0.5, 30.0, -1.29),
        ] {
            let computed = offset(air, dew, 0.0, view, h);
            assert!((computed - worked).abs() < 0.03, "{air} {view} {h}: {computed}");
        }
    }

    #[test]
    fn cloud_takes_most_of_it_and_a_deck_all() {
        assert!(offset(0.0, -4.0, 1.0, 0.5, 8.0) > 0.25 * offset(0.0, -4.0, 0.0, 0.5, 8.0));
        assert_eq!(offset(0.0, -4.0, 0.0, 0.0, 8.0), 0.0);
        assert_eq!(offset(0.0, -4.0, 0.0, 1.0, 0.0), 0.0);
    }
}
