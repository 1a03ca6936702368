//! Random series from a seed, by additions, multiplications and square roots only, so that they do not depend on a
//! mathematics library.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// How many uniform numbers make a nearly normal one (Irwin-Hall): their sum has variance one.
const UNIFORMS: u32 = 12;
/// Spacing of 53-bit numbers in 0..1.
const ULP: f64 = 1.0 / 9_007_199_254_740_992.0;

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub struct Noise(Xoshiro256PlusPlus);

impl Noise {
    /// The stream number `stream` of a seed.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mixed = seed ^ stream.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        Self(Xoshiro256PlusPlus::seed_from_u64(mixed))
    }

    /// From 0 to below 1.
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit")]
    pub fn uniform(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 * ULP
    }

    /// A whole number from 0 to below `below`.
    pub fn below(&mut self, below: u32) -> u32 {
        let product = u64::from(self.0.next_u32()).wrapping_mul(u64::from(below));
        u32::try_from(product >> 32).unwrap_or(0)
    }

    /// Nearly normal, mean 0, variance 1, within six.
    pub fn normal(&mut self) -> f64 {
        (0..UNIFORMS).map(|_| self.uniform()).sum::<f64>() - f64::from(UNIFORMS) / 2.0
    }

    /// `count` values of mean 0 and variance 1, each correlated by `step` with the one before.
    pub fn series(&mut self, count: usize, step: f64) -> Vec<f64> {
        let fresh = (1.0 - step * step).max(0.0).sqrt();
        let mut value = self.normal();
        (0..count)
            .map(|_| {
                let now = value;
                value = step * value + fresh * self.normal();
                now
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_series_has_the_variance_and_correlation_it_promises() {
        let values = Noise::new(1, 1).series(40_000, 0.7);
        let n = 40_000.0;
        let variance = values.iter().map(|v| v * v).sum::<f64>() / n;
        let lag = values.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n;
        assert!((variance - 1.0).abs() < 0.05, "{variance}");
        assert!((lag / variance - 0.7).abs() < 0.02, "{lag}");
    }

    #[test]
    fn streams_differ_and_repeat() {
        assert_eq!(Noise::new(7, 1).uniform().to_bits(), Noise::new(7, 1).uniform().to_bits());
        assert_ne!(Noise::new(7, 1).uniform().to_bits(), Noise::new(7, 2).uniform().to_bits());
    }
}
