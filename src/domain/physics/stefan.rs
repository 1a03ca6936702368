//! Freezing fronts in a half space: the closed forms of Stefan and Neumann (Carslaw and Jaeger, chapter XI).

use std::f64::consts::{FRAC_2_SQRT_PI, PI};

use super::curve::solve_falling;

/// The error function, to about 1e-15.
#[must_use]
pub fn erf(x: f64) -> f64 {
    if x < 0.0 {
        return -erf(-x);
    }
    if x > 2.5 {
        return 1.0 - (-x * x).exp() * erfcx(x);
    }
    let (mut term, mut sum) = (x, x);
    for n in 1..100 {
        let n = f64::from(n);
        term *= -x * x / n;
        let part = term / (2.0 * n + 1.0);
        sum += part;
        if part.abs() < 1e-17 * sum.abs() {
            break;
        }
    }
    FRAC_2_SQRT_PI * sum
}

/// `exp(x^2) erfc(x)` for x of 0 and more, which stays finite where erfc itself vanishes.
fn erfcx(x: f64) -> f64 {
    if x < 2.0 {
        return (x * x).exp() * (1.0 - erf(x));
    }
    // Continued fraction of Laplace, from far inside outwards.
    let inside = (1..=60).rev().fold(0.0, |tail, n| 0.5 * f64::from(n) / (x + tail));
    1.0 / (PI.sqrt() * (x + inside))
}

/// `lambda` of a one-phase front: `lambda exp(lambda^2) erf(lambda) = Ste / sqrt(pi)`; `None` unless `Ste` is above 0
/// and its root below 5.
#[must_use]
pub fn one_phase_lambda(stefan_number: f64) -> Option<f64> {
    if stefan_number.is_nan() || stefan_number <= 0.0 {
        return None;
    }
    let target = stefan_number / PI.sqrt();
    solve_falling(|l| -l * (l * l).exp() * erf(l), -target, 0.0, 5.0)
}

/// Ice growing from a cold wall into water, both phases conducting, of equal density.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoPhase {
    /// Wall below freezing, K, above 0.
    pub wall_below_k: f64,
    /// Water above freezing at the start, K, 0 or more.
    pub water_above_k: f64,
    /// Conductivity of the ice, W/(m K).
    pub ice_conductivity: f64,
    /// Heat capacity of the ice, J/(kg K).
    pub ice_cp: f64,
    /// Conductivity of the water, W/(m K).
    pub water_conductivity: f64,
    /// Heat capacity of the water, J/(kg K).
    pub water_cp: f64,
    /// Density of both, kg/m3.
    pub density: f64,
    /// Heat of fusion, J/kg.
    pub fusion_j_kg: f64,
}

impl TwoPhase {
    fn ice_diffusivity(&self) -> f64 {
        self.ice_conductivity / (self.density * self.ice_cp)
    }

    /// `lambda` of Neumann's equation; `None` when the wall is not below freezing or no root lies below 5.
    #[must_use]
    pub fn lambda(&self) -> Option<f64> {
        if self.wall_below_k <= 0.0 || self.water_above_k < 0.0 {
            return None;
        }
        let water_diffusivity = self.water_conductivity / (self.density * self.water_cp);
        let root = (self.ice_diffusivity() / water_diffusivity).sqrt();
        let warm = self.water_conductivity / self.ice_conductivity * root * self.water_above_k
            / self.wall_below_k;
        let latent = self.fusion_j_kg * PI.sqrt() / (self.ice_cp * self.wall_below_k);
        // Each of the three terms falls with lambda.
        let balance = |l: f64| (-l * l).exp() / erf(l) - warm / erfcx(l * root) - latent * l;
        solve_falling(balance, 0.0, 1e-9, 5.0)
    }

    /// Depth of the front in m after `seconds`.
    #[must_use]
    pub fn front_m(&self, seconds: f64) -> Option<f64> {
        self.lambda().map(|lambda| 2.0 * lambda * (self.ice_diffusivity() * seconds).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_error_function_meets_its_tables() {
        // Abramowitz and Stegun, table 7.1.
        for (x, value) in [
            (0.1, 0.112_462_916_0),
            (0.5, 0.520_499_877_8),
            (1.0, 0.842_700_792_9),
            (2.0, 0.995_322_265_0),
            (3.0, 0.999_977_909_5),
        ] {
            assert!((erf(x) - value).abs() < 2e-10, "{x}");
            assert_eq!(erf(-x), -erf(x));
        }
        assert!((erfcx(2.0) - 4.0_f64.exp() * (1.0 - erf(2.0))).abs() < 1e-12);
        assert!((erfcx(30.0) - 0.018_795_888_9).abs() < 1e-9);
    }

    #[test]
    fn without_warm_water_two_phases_are_one() {
        let front = TwoPhase {
            wall_below_k: 10.0,
            water_above_k: 0.0,
            ice_conductivity: 2.22,
            ice_cp: 2060.0,
            water_conductivity: 0.556,
            water_cp: 4210.0,
            density: 1000.0,
            fusion_j_kg: 333_426.5,
        };
        let one = one_phase_lambda(2060.0 * 10.0 / 333_426.5).unwrap();
        assert!((front.lambda().unwrap() - one).abs() < 1e-12);
        assert_eq!(TwoPhase { wall_below_k: 0.0, ..front }.lambda(), None);
        assert_eq!(one_phase_lambda(0.0), None);
    }
}
