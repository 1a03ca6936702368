//! Quantiles of a mixture of two-piece normal distributions.

use super::super::errors::{normal_quantile, normal_share};

/// One distribution of a mixture: two half normals that meet at the centre, each with half of the weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Its share, 0 to 1.
    pub weight: f64,
    /// Median, C.
    pub centre: f64,
    /// Standard deviation below the centre, K.
    pub below_k: f64,
    /// Standard deviation above the centre, K.
    pub above_k: f64,
}

impl Part {
    fn share_below(&self, celsius: f64) -> f64 {
        let apart = celsius - self.centre;
        let sd = if apart < 0.0 { self.below_k } else { self.above_k };
        normal_share(apart / sd.max(1e-6))
    }
}

/// The values below which `shares` of the mixture lie, in C to a thousandth; `None` of nothing.
#[must_use]
pub fn quantiles<const N: usize>(parts: &[Part], shares: [f64; N]) -> Option<[f64; N]> {
    // One service with an even spread, the common case, has a closed form.
    if let [only] = parts
        && only.below_k == only.above_k
    {
        return Some(shares.map(|share| only.centre + only.below_k * normal_quantile(share)));
    }
    let edge = |sign: f64, p: &Part| p.centre + sign * 6.0 * p.below_k.max(p.above_k);
    let lowest = parts.iter().map(|p| edge(-1.0, p)).min_by(f64::total_cmp)?;
    let highest = parts.iter().map(|p| edge(1.0, p)).max_by(f64::total_cmp)?;
    let total: f64 = parts.iter().map(|p| p.weight).sum();
    let below = |t: f64| parts.iter().map(|p| p.weight * p.share_below(t)).sum::<f64>() / total;
    Some(shares.map(|share| {
        let (mut low, mut high) = (lowest, highest);
        while high - low > 5e-4 {
            let middle = f64::midpoint(low, high);
            if below(middle) < share { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_normal_has_its_printed_quantiles() {
        let one = Part { weight: 1.0, centre: -2.0, below_k: 2.0, above_k: 2.0 };
        let [low, middle, high] = quantiles(&[one], [0.1, 0.5, 0.9]).unwrap();
        // Standard normal tables: 1.2816.
        assert!((low + 2.0 + 2.5631).abs() < 1e-3 && (middle + 2.0).abs() < 1e-3);
        assert!((high + 2.0 - 2.5631).abs() < 1e-3);
        assert!(quantiles(&[], [0.5]).is_none());
    }
}
