//! Logarithm and exponential in single precision that a compiler can lay over vector lanes: no branch, no table, no
//! fused multiply-add, so that the bits agree whatever the processor.
//!
//! Polynomials of the Cephes library (S. L. Moshier, single precision `logf` and `expf`; coefficients from memory,
//! checked against the standard library below). Good to about two units in the last place.

/// Adding it rounds a number below 2^22 to a whole one and leaves that in the low bits (1.5 times 2^23).
const ROUNDER: f32 = 12_582_912.0;
/// 2^23: with the low bits of a whole number set it is that number more.
const TWO_TO_23: f32 = 8_388_608.0;
/// The two parts of ln 2.
const LN2_HIGH: f32 = 0.693_359_4;
const LN2_LOW: f32 = -2.121_944_4e-4;

/// Natural logarithm of a normal number above 0.
#[inline(always)]
pub(super) fn ln(x: f32) -> f32 {
    let bits = x.to_bits();
    let exponent = f32::from_bits(0x4b00_0000 | (bits >> 23)) - TWO_TO_23 - 126.0;
    let half_to_one = f32::from_bits((bits & 0x007f_ffff) | 0x3f00_0000);
    let low = half_to_one < std::f32::consts::FRAC_1_SQRT_2;
    let exponent = if low { exponent - 1.0 } else { exponent };
    let m = if low { half_to_one + half_to_one - 1.0 } else { half_to_one - 1.0 };
    let square = m * m;
    let mut sum = 7.037_683_6e-2;
    sum = sum * m - 1.151_461e-1;
    sum = sum * m + 1.167_699_9e-1;
    sum = sum * m - 1.242_014_1e-1;
    sum = sum * m + 1.424_932_3e-1;
    sum = sum * m - 1.666_805_8e-1;
    sum = sum * m + 2.000_071_5e-1;
    sum = sum * m - 2.499_999_4e-1;
    sum = sum * m + 3.333_333e-1;
    let bent = sum * m * square + exponent * LN2_LOW - 0.5 * square;
    m + bent + exponent * LN2_HIGH
}

/// `exp(x)` for `x` from -80 to 80; below and above it stays at the end value.
#[inline(always)]
pub(super) fn exp(x: f32) -> f32 {
    let x = if x < -80.0 { -80.0 } else { x };
    let x = if x > 80.0 { 80.0 } else { x };
    let shifted = x * std::f32::consts::LOG2_E + ROUNDER;
    let whole = shifted - ROUNDER;
    let rest = x - whole * LN2_HIGH - whole * LN2_LOW;
    let power = f32::from_bits((shifted.to_bits() << 23).wrapping_add(0x3f80_0000));
    let mut sum = 1.987_569_1e-4;
    sum = sum * rest + 1.398_199_9e-3;
    sum = sum * rest + 8.333_452e-3;
    sum = sum * rest + 4.166_579_6e-2;
    sum = sum * rest + 1.666_666_5e-1;
    sum = sum * rest + 0.5;
    (sum * rest * rest + rest + 1.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_agree_with_the_standard_library_to_a_few_units_in_the_last_place() {
        for step in 1..20_000_u16 {
            let x = f32::from(step) * 0.001;
            let (ours, exact) = (f64::from(ln(x)), f64::from(x).ln());
            assert!((ours - exact).abs() < 2e-7 * (1.0 + exact.abs()), "ln {x}: {ours} {exact}");
            for x in [x, -x] {
                let (ours, exact) = (f64::from(exp(x)), f64::from(x).exp());
                assert!((ours / exact - 1.0).abs() < 4e-7, "exp {x}: {ours} {exact}");
            }
        }
    }

    #[test]
    fn the_exponential_ends_where_it_can_still_be_told() {
        assert_eq!(exp(-500.0), exp(-80.0));
        assert!(exp(0.0) == 1.0 && ln(1.0) == 0.0);
    }
}
