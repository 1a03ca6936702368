//! Sea water: first ice and the brine that is left between the ice.
//!
//! UNESCO Technical Papers in Marine Science 44 (1983), after Millero and Leung; the salt stays in the brine. It lies
//! within 0.0032 K of TEOS-10 up to a salinity of 42, and its brine line within 0.05 K up to the end used here.

use super::curve::solve_falling;

/// Salinity of the brine at which the curve ends (TEOS-10 holds to 120).
pub const SALTIEST_BRINE: f64 = 120.0;

/// Kelvin that a decibar lowers first ice (UNESCO 1983).
const KELVIN_PER_DBAR: f64 = 7.53e-4;

/// First ice in C of air-saturated sea water at the surface, practical salinity 0 to [`SALTIEST_BRINE`].
#[must_use]
pub fn first_ice_c(salinity: f64) -> f64 {
    let s = salinity.clamp(0.0, SALTIEST_BRINE);
    -0.0575 * s + 1.710_523e-3 * s * s.sqrt() - 2.154_996e-4 * s * s
}

/// First ice in C at a pressure; check value of the paper: salinity 40, 500 dbar: -2.588567.
#[must_use]
pub fn first_ice_under_pressure_c(salinity: f64, pressure_dbar: f64) -> f64 {
    first_ice_c(salinity) - KELVIN_PER_DBAR * pressure_dbar
}

/// What dissolved air takes off first ice, in K, at full saturation (TEOS-10, as in its `t_freezing`).
#[must_use]
pub fn kelvin_by_air(salinity: f64) -> f64 {
    let absolute = salinity * 35.165_04 / 35.0;
    1e-3 * (2.4 - 0.014_289_764 * absolute) * (1.0 + 0.057_000_65 * (1.0 - absolute / 35.165_04))
}

/// Salinity of the brine that is in balance with ice at `t_c`; `None` above 0 C and below the end of the curve.
#[must_use]
pub fn brine_salinity_at_c(t_c: f64) -> Option<f64> {
    solve_falling(first_ice_c, t_c, 0.0, SALTIEST_BRINE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_printed_check_value_of_the_paper_comes_out() {
        assert!((first_ice_under_pressure_c(40.0, 500.0) + 2.588_567).abs() < 5e-7);
    }

    #[test]
    fn air_saturated_teos_10_is_within_four_millikelvin() {
        // gsw 3.6.23, t_freezing, air-saturated.
        for (salinity, teos_c) in [(0.0, 0.0001), (10.0, -0.5409), (35.0, -1.9210), (42.0, -2.3258)]
        {
            assert!((first_ice_c(salinity) - teos_c).abs() < 0.004, "{salinity}");
        }
        // The same, air-free less air-saturated.
        for (salinity, kelvin) in [(0.0, 0.0024), (20.0, 0.0021), (42.0, 0.0018)] {
            assert!((kelvin_by_air(salinity) - kelvin).abs() < 2e-4, "{salinity}");
        }
    }
}
