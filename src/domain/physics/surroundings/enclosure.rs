//! Hulls, wraps and sheds that lag behind the air, the water under a hull, and a heated shed without its heat.

use crate::domain::units::{Celsius, Hours, WattsPerKelvin};

/// Air inside an enclosure after `dt_h` hours of steady air outside: first order with the time constant `tau_h`.
///
/// Hours; a time constant of 0 or less follows at once, a step of 0 or less changes nothing.
#[must_use]
pub fn enclosure_step(inside_c: f64, outside_c: f64, tau_h: f64, dt_h: f64) -> f64 {
    if dt_h <= 0.0 {
        inside_c
    } else if tau_h <= 0.0 {
        outside_c
    } else {
        inside_c + (inside_c - outside_c) * (-dt_h / tau_h).exp_m1()
    }
}

/// What a part near the hull feels when afloat: water and air weighed by their conductances.
///
/// `coldest_water` is the first ice of the water it floats in: water under a hull is never colder. `None` when neither
/// conducts.
#[must_use]
pub fn temperature_afloat(
    water: Celsius,
    air: Celsius,
    ua_water: WattsPerKelvin,
    ua_air: WattsPerKelvin,
    coldest_water: Celsius,
) -> Option<Celsius> {
    let total = ua_water.value() + ua_air.value();
    let water_c = water.value().max(coldest_water.value());
    (total > 0.0).then(|| {
        Celsius::clamped((ua_water.value() * water_c + ua_air.value() * air.value()) / total)
    })
}

/// A heated shed's own soak test: how it fell when the heat was off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatedShed {
    /// Where it started.
    pub setpoint: Celsius,
    /// Hours from there to 0 C.
    pub soak: Hours,
    /// The air outside during the test.
    pub soak_outside: Celsius,
}

/// Time constant of a shed from its soak test; `None` when the test says nothing (setpoint not above 0 C, outside not
/// below 0 C, or no time).
#[must_use]
pub fn shed_time_constant(shed: &HeatedShed) -> Option<Hours> {
    let (set, outside) = (shed.setpoint.value(), shed.soak_outside.value());
    (set > 0.0 && outside < 0.0 && shed.soak.value() > 0.0)
        .then(|| Hours::clamped(shed.soak.value() / ((set - outside) / -outside).ln()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn c(value: f64) -> Celsius {
        Celsius::new(value).unwrap()
    }

    #[test]
    fn a_shed_without_heat_repeats_its_soak_test() {
        let shed =
            HeatedShed { setpoint: c(7.0), soak: Hours::new(9.0).unwrap(), soak_outside: c(-10.0) };
        let tau = shed_time_constant(&shed).unwrap();
        assert!((tau.value() - 16.96).abs() < 0.01);
        let after_9_h_c = (0..9).fold(7.0, |c, _| enclosure_step(c, -10.0, tau.value(), 1.0));
        assert!(after_9_h_c.abs() < 1e-9, "{after_9_h_c}");
        let silly = HeatedShed { soak_outside: c(3.0), ..shed };
        assert_eq!(shed_time_constant(&silly), None);
    }

    #[test]
    fn an_enclosure_lags_and_two_half_steps_are_one() {
        let whole = enclosure_step(5.0, -10.0, 4.0, 1.0);
        let half = enclosure_step(5.0, -10.0, 4.0, 0.5);
        assert!((enclosure_step(half, -10.0, 4.0, 0.5) - whole).abs() < 1e-12);
        assert_eq!(enclosure_step(5.0, -10.0, 0.0, 1.0), -10.0);
    }

    #[test]
    fn water_under_a_hull_holds_it_up_but_is_never_colder_than_its_first_ice() {
        let ua = |value| WattsPerKelvin::new(value).unwrap();
        let felt = temperature_afloat(c(-5.0), c(-15.0), ua(150.0), ua(50.0), c(-1.9)).unwrap();
        assert!((felt.value() - (-5.175)).abs() < 1e-9);
        assert_eq!(temperature_afloat(c(1.0), c(1.0), ua(0.0), ua(0.0), c(0.0)), None);
    }
}
