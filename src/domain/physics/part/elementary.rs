//! Logarithm and exponential in single precision for a vector of lanes: no branch, no table, no fused multiply-add, so
//! that the bits agree whatever the processor and however wide its vectors are.
//!
//! Polynomials of the Cephes library (S. L. Moshier, single precision `logf` and `expf`; coefficients from memory,
//! checked against the standard library below). Good to about two units in the last place.

use pulp::Simd;

/// Adding it rounds a number below 2^22 to a whole one and leaves that in the low bits (1.5 times 2^23).
const ROUNDER: f32 = 12_582_912.0;
/// 2^23: with the low bits of a whole number set it is that number more.
const TWO_TO_23: f32 = 8_388_608.0;
/// The two parts of ln 2.
const LN2_HIGH: f32 = 0.693_359_4;
const LN2_LOW: f32 = -2.121_944_4e-4;
/// Bits of the fraction of a single.
const FRACTION_BITS: u32 = 23;

const LN: [f32; 9] = [
    7.037_683_6e-2,
    -1.151_461e-1,
    1.167_699_9e-1,
    -1.242_014_1e-1,
    1.424_932_3e-1,
    -1.666_805_8e-1,
    2.000_071_5e-1,
    -2.499_999_4e-1,
    3.333_333e-1,
];
const EXP: [f32; 6] =
    [1.987_569_1e-4, 1.398_199_9e-3, 8.333_452e-3, 4.166_579_6e-2, 1.666_666_5e-1, 0.5];

/// Horner's scheme, highest power first.
#[inline(always)]
fn polynomial<S: Simd>(simd: S, x: S::f32s, coefficients: &[f32]) -> S::f32s {
    coefficients.iter().fold(simd.splat_f32s(0.0), |sum, coefficient| {
        simd.add_f32s(simd.mul_f32s(sum, x), simd.splat_f32s(*coefficient))
    })
}

/// Natural logarithm of normal numbers above 0.
#[inline(always)]
pub(super) fn ln<S: Simd>(simd: S, x: S::f32s) -> S::f32s {
    let all = |value: f32| simd.splat_f32s(value);
    let bits = simd.transmute_u32s_f32s(x);
    let power = simd.wrapping_dyn_shr_u32s(bits, simd.splat_u32s(FRACTION_BITS));
    let power = simd.transmute_f32s_u32s(simd.or_u32s(power, simd.splat_u32s(TWO_TO_23.to_bits())));
    let power = simd.sub_f32s(simd.sub_f32s(power, all(TWO_TO_23)), all(126.0));
    let fraction = simd.and_u32s(bits, simd.splat_u32s(0x007f_ffff));
    let half_to_one =
        simd.transmute_f32s_u32s(simd.or_u32s(fraction, simd.splat_u32s(0.5_f32.to_bits())));
    let low = simd.less_than_f32s(half_to_one, all(std::f32::consts::FRAC_1_SQRT_2));
    let power = simd.select_f32s(low, simd.sub_f32s(power, all(1.0)), power);
    let doubled = simd.select_f32s(low, simd.add_f32s(half_to_one, half_to_one), half_to_one);
    let m = simd.sub_f32s(doubled, all(1.0));
    let square = simd.mul_f32s(m, m);
    let bent = simd.mul_f32s(simd.mul_f32s(polynomial(simd, m, &LN), m), square);
    let bent = simd.add_f32s(bent, simd.mul_f32s(power, all(LN2_LOW)));
    let bent = simd.sub_f32s(bent, simd.mul_f32s(all(0.5), square));
    simd.add_f32s(simd.add_f32s(m, bent), simd.mul_f32s(power, all(LN2_HIGH)))
}

/// `exp(x)` for `x` from -80 to 80; below and above it stays at the end value.
#[inline(always)]
pub(super) fn exp<S: Simd>(simd: S, x: S::f32s) -> S::f32s {
    let all = |value: f32| simd.splat_f32s(value);
    let x = simd.select_f32s(simd.less_than_f32s(x, all(-80.0)), all(-80.0), x);
    let x = simd.select_f32s(simd.greater_than_f32s(x, all(80.0)), all(80.0), x);
    let shifted = simd.add_f32s(simd.mul_f32s(x, all(std::f32::consts::LOG2_E)), all(ROUNDER));
    let whole = simd.sub_f32s(shifted, all(ROUNDER));
    let rest = simd.sub_f32s(x, simd.mul_f32s(whole, all(LN2_HIGH)));
    let rest = simd.sub_f32s(rest, simd.mul_f32s(whole, all(LN2_LOW)));
    let power = simd.transmute_u32s_f32s(shifted);
    let power = simd.wrapping_dyn_shl_u32s(power, simd.splat_u32s(FRACTION_BITS));
    let power = simd.add_u32s(power, simd.splat_u32s(1.0_f32.to_bits()));
    let sum = simd.mul_f32s(simd.mul_f32s(polynomial(simd, rest, &EXP), rest), rest);
    let sum = simd.add_f32s(simd.add_f32s(sum, rest), all(1.0));
    simd.mul_f32s(sum, simd.transmute_f32s_u32s(power))
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulp::{Arch, Scalar, WithSimd};

    enum Which {
        Ln,
        Exp,
    }

    /// The function of each number, with the widest vectors that there are.
    struct Each<'a>(Which, &'a mut [f32]);

    impl WithSimd for Each<'_> {
        type Output = ();

        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) {
            let (lanes, rest) = S::as_mut_simd_f32s(self.1);
            assert!(rest.is_empty());
            for x in lanes {
                *x = match self.0 {
                    Which::Ln => ln(simd, *x),
                    Which::Exp => exp(simd, *x),
                };
            }
        }
    }

    fn numbers() -> Vec<f32> {
        (1..=20_000_u16).map(|step| f32::from(step) * 0.001).collect()
    }

    #[test]
    fn both_agree_with_the_standard_library_to_a_few_units_in_the_last_place() {
        let mut logs = numbers();
        Arch::new().dispatch(Each(Which::Ln, &mut logs));
        for (x, ours) in numbers().into_iter().zip(logs) {
            let (ours, exact) = (f64::from(ours), f64::from(x).ln());
            assert!((ours - exact).abs() < 2e-7 * (1.0 + exact.abs()), "ln {x}: {ours} {exact}");
        }
        for sign in [1.0, -1.0] {
            let given: Vec<f32> = numbers().into_iter().map(|x| x * sign).collect();
            let mut powers = given.clone();
            Arch::new().dispatch(Each(Which::Exp, &mut powers));
            for (x, ours) in given.into_iter().zip(powers) {
                let (ours, exact) = (f64::from(ours), f64::from(x).exp());
                assert!((ours / exact - 1.0).abs() < 4e-7, "exp {x}: {ours} {exact}");
            }
        }
    }

    #[test]
    fn the_bits_do_not_depend_on_the_width() {
        let bits = |wide: &[f32]| wide.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
        for which in [|| Which::Ln, || Which::Exp] {
            let (mut wide, mut one_by_one) = (numbers(), numbers());
            Arch::new().dispatch(Each(which(), &mut wide));
            Each(which(), &mut one_by_one).with_simd(Scalar);
            assert_eq!(bits(&wide), bits(&one_by_one));
        }
    }

    #[test]
    fn the_exponential_ends_where_it_can_still_be_told() {
        assert_eq!(exp(Scalar, -500.0), exp(Scalar, -80.0));
        assert!(exp(Scalar, 0.0) == 1.0 && ln(Scalar, 1.0) == 0.0);
    }
}
