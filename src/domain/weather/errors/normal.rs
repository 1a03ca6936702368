//! The normal distribution: its numbers drawn by a seed, its quantiles and its shares.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Standard normal numbers from a named generator, so that a seed replays in years.
pub struct Normals {
    rng: Xoshiro256PlusPlus,
    spare: Option<f64>,
}

impl Normals {
    /// Starts the sequence of `seed`.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self { rng: Xoshiro256PlusPlus::seed_from_u64(seed), spare: None }
    }

    /// A number evenly spread over (0, 1].
    pub fn uniform(&mut self) -> f64 {
        const UNIT: f64 = 1.0 / 9_007_199_254_740_992.0;
        let bits = self.rng.next_u64() >> 11;
        (wide(bits) + 1.0) * UNIT
    }

    /// The next standard normal number (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }

    pub(super) fn below(&mut self, end: usize) -> usize {
        let end = u64::try_from(end.max(1)).unwrap_or(1);
        usize::try_from(self.rng.next_u64() % end).unwrap_or(0)
    }
}

/// Quantile of the standard normal distribution for a share in (0, 1): P. J. Acklam's rational approximation (2003,
/// published on his pages; relative error 1.15e-9).
#[must_use]
pub fn normal_quantile(share: f64) -> f64 {
    const A: [f64; 6] = [
        -3.969683028665376e1,
        2.209460984245205e2,
        -2.759285104469687e2,
        1.38357751867269e2,
        -3.066479806614716e1,
        2.506628277459239,
    ];
    const B: [f64; 6] = [
        -5.447609879822406e1,
        1.615858368580409e2,
        -1.556989798598866e2,
        6.680131188771972e1,
        -1.328068155288572e1,
        1.0,
    ];
    const C: [f64; 6] = [
        -7.784894002430293e-3,
        -3.223964580411365e-1,
        -2.400758277161838,
        -2.549732539343734,
        4.374664141464968,
        2.938163982698783,
    ];
    const D: [f64; 5] =
        [7.784695709041462e-3, 3.224671290700398e-1, 2.445134137142996, 3.754408661907416, 1.0];
    let horner = |terms: &[f64], at: f64| terms.iter().fold(0.0, |sum, term| sum * at + term);
    let share = share.clamp(1e-12, 1.0 - 1e-12);
    let tail = |part: f64| {
        let q = (-2.0 * part.ln()).sqrt();
        horner(&C, q) / horner(&D, q)
    };
    if share < 0.02425 {
        tail(share)
    } else if share > 1.0 - 0.02425 {
        -tail(1.0 - share)
    } else {
        let q = share - 0.5;
        q * horner(&A, q * q) / horner(&B, q * q)
    }
}

/// Share of the standard normal distribution below `z`: Abramowitz and Stegun 1964, 26.2.17 (absolute error 7.5e-8).
#[must_use]
pub fn normal_share(z: f64) -> f64 {
    const TERMS: [f64; 5] =
        [1.330_274_429, -1.821_255_978, 1.781_477_937, -0.356_563_782, 0.319_381_530];
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let sum = TERMS.iter().fold(0.0, |sum, term| sum * t + term) * t;
    let tail = (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt() * sum;
    if z >= 0.0 { 1.0 - tail } else { tail }
}

/// Share below `z` standard deviations of a Student t with 12 degrees of freedom, the tails that the fitted errors have:
/// the finite series for even degrees of freedom (Abramowitz and Stegun 1964, 26.7.4), for unit variance.
#[must_use]
pub fn tail_share(z: f64) -> f64 {
    const NU: f64 = 12.0;
    let angle = (z / (NU - 2.0).sqrt()).atan();
    let square = angle.cos().powi(2);
    // 1 + c/2 (1 + 3c/4 (1 + 5c/6 ( ... 9c/10)))
    let series = [0.9, 0.875, 5.0 / 6.0, 0.75, 0.5].iter().fold(1.0, |s, f| 1.0 + f * square * s);
    f64::midpoint(1.0, angle.sin() * series)
}

#[expect(clippy::cast_precision_loss, reason = "53 bits are wanted, no more")]
pub(super) const fn wide(bits: u64) -> f64 {
    bits as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tails_are_those_of_the_printed_t_table() {
        // Fisher and Yates, table of t with 12 degrees of freedom, one-sided (from memory): 1.782, 2.179, 3.055.
        for (t, share) in [(1.782, 0.95), (2.179, 0.975), (3.055, 0.995)] {
            let z = t * (10.0_f64 / 12.0).sqrt();
            assert!((tail_share(z) - share).abs() < 1e-4, "{t}: {}", tail_share(z));
            assert!((tail_share(-z) + share - 1.0).abs() < 1e-4);
        }
        assert!((tail_share(0.0) - 0.5).abs() < 1e-12 && tail_share(-40.0) >= 0.0);
    }
}
