//! Smooth curves through published points, without overshoot, and their inverse.

/// A monotone cubic through points, after Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238.
///
/// Where the points fall, the curve falls; outside them it stays at the end value.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct MonotoneCubic {
    /// (x, y, slope), x ascending.
    knots: Vec<(f64, f64, f64)>,
}

impl MonotoneCubic {
    /// Through `points`, which are sorted by x and have distinct x.
    pub(crate) fn through(points: &[(f64, f64)]) -> Self {
        let secants: Vec<f64> = points
            .iter()
            .zip(points.iter().skip(1))
            .map(|((x0, y0), (x1, y1))| (y1 - y0) / (x1 - x0))
            .collect();
        let first = secants.first().copied().unwrap_or(0.0);
        let last = secants.last().copied().unwrap_or(0.0);
        let mut slopes = vec![first];
        slopes.extend(
            secants
                .iter()
                .zip(secants.iter().skip(1))
                .map(|(a, b)| if a * b <= 0.0 { 0.0 } else { 2.0 * a * b / (a + b) }),
        );
        slopes.push(last);
        let knots = points.iter().zip(slopes).map(|((x, y), slope)| (*x, *y, slope)).collect();
        Self { knots }
    }

    /// The value at `x`.
    pub(crate) fn at(&self, x: f64) -> f64 {
        let above = self.knots.partition_point(|(knot, _, _)| *knot <= x);
        let low = above.checked_sub(1).and_then(|index| self.knots.get(index));
        match (low, self.knots.get(above)) {
            (Some((x0, y0, d0)), Some((x1, y1, d1))) => {
                let width = x1 - x0;
                let t = (x - x0) / width;
                let (t2, t3) = (t * t, t * t * t);
                (2.0 * t3 - 3.0 * t2 + 1.0) * y0
                    + (t3 - 2.0 * t2 + t) * width * d0
                    + (3.0 * t2 - 2.0 * t3) * y1
                    + (t3 - t2) * width * d1
            }
            (Some((_, y, _)), None) | (None, Some((_, y, _))) => *y,
            (None, None) => 0.0,
        }
    }
}

/// The line through `points` (x ascending) at `x`; the end values outside; 0 without points.
pub(crate) fn piecewise_linear(points: &[(f64, f64)], x: f64) -> f64 {
    let above = points.partition_point(|(knot, _)| *knot <= x);
    match (above.checked_sub(1).and_then(|index| points.get(index)), points.get(above)) {
        (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
        (Some((_, y)), None) | (None, Some((_, y))) => *y,
        (None, None) => 0.0,
    }
}

/// Where the falling function `f` passes `y` between `low` and `high`, to the last bits; `None` when it does not.
pub(crate) fn solve_falling(
    f: impl Fn(f64) -> f64,
    y: f64,
    mut low: f64,
    mut high: f64,
) -> Option<f64> {
    if !(f(low) >= y && f(high) <= y) {
        return None;
    }
    // Sixty halvings leave less than 1e-18 of the width.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if f(middle) > y {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_monotone_cubic_meets_its_points_and_never_turns() {
        let points = [(0.0, 0.0), (1.0, -1.0), (2.0, -1.5), (3.0, -10.0)];
        let curve = MonotoneCubic::through(&points);
        for (x, y) in points {
            assert!((curve.at(x) - y).abs() < 1e-12);
        }
        let mut before = curve.at(0.0);
        for step in 1..=300 {
            let now = curve.at(f64::from(step) * 0.01);
            assert!(now <= before + 1e-12, "rises at {step}");
            before = now;
        }
        assert_eq!(curve.at(9.0), -10.0);
    }

    #[test]
    fn a_root_is_found_or_refused() {
        assert!((solve_falling(|x| -x, -0.3, 0.0, 1.0).unwrap() - 0.3).abs() < 1e-15);
        assert_eq!(solve_falling(|x| -x, 0.3, 0.0, 1.0), None);
        assert_eq!(solve_falling(|x| -x, f64::NAN, 0.0, 1.0), None);
    }
}
