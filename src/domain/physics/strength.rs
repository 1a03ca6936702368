//! How strong a mix is, in measures that must not be taken for each other, and what mixing makes of it.
//!
//! Volume read as mass costs up to 2.9 K; percent of a concentrate read as percent of glycol costs as much again. So
//! each measure is its own type and turns into another only here. Volumes are those of the pure liquids at 20 C before
//! mixing.

use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::constants::WATER_DENSITY_20C_KG_M3;
use super::liquid_error::LiquidError;
use super::solute::Solute;
use super::table::{TableError, rows};
use crate::domain::units::{Fraction, Litres, MassFraction, Salinity, VolumeFraction};

/// Litres of bought concentrate over litres of concentrate and water before mixing: what a jug's mixing table means.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ConcentrateShare {
    /// Litres of concentrate over litres of both, 0 to 1.
    pub share: Fraction,
    /// How much of the concentrate is solute, by volume (inhibited ethylene glycol: about 0.91).
    pub solute_in_concentrate: VolumeFraction,
}

impl ConcentrateShare {
    /// As solute over pure volumes; the rest of the concentrate counts as water.
    #[must_use]
    pub fn as_volume(self) -> VolumeFraction {
        VolumeFraction::clamped(self.share.value() * self.solute_in_concentrate.value())
    }
}

/// Litres of solute over litres of the finished mix at 20 C, as laboratory tables give it: the mix is less than its parts, so
/// that this is more than the share of pure volumes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SolutionShare(pub Fraction);

impl SolutionShare {
    /// As solute over pure volumes. `None` where nobody has said how much the mix shrinks: only for the two glycols it is known.
    #[must_use]
    pub fn as_volume(self, solute: Solute) -> Option<VolumeFraction> {
        let most = shrinks(solute)?;
        let share = self.0.value();
        // The shrinkage follows x (1 - x), most at half and half: a regular solution. It hardly changes from one step to the next.
        let mut volume = share;
        for _ in 0..SHRINK_STEPS {
            let mass = mass_from_volume(solute, VolumeFraction::clamped(volume)).value();
            volume = share * (1.0 - most * 4.0 * mass * (1.0 - mass));
        }
        Some(VolumeFraction::clamped(volume))
    }
}

/// Each step is fifty times nearer.
const SHRINK_STEPS: usize = 8;

/// The share by which a mix of half and half by mass is less than its parts.
fn shrinks(solute: Solute) -> Option<f64> {
    match solute {
        Solute::PropyleneGlycol => Some(rule("shrinks_propylene_glycol")),
        Solute::EthyleneGlycol => Some(rule("shrinks_ethylene_glycol")),
        Solute::Ethanol | Solute::Methanol | Solute::Glycerol => None,
    }
}

/// Solute mass over solution mass from the share of pure volumes at 20 C.
#[must_use]
pub fn mass_from_volume(solute: Solute, volume: VolumeFraction) -> MassFraction {
    let part = volume.value() * solute.density_20c_kg_m3();
    MassFraction::clamped(part / (part + (1.0 - volume.value()) * WATER_DENSITY_20C_KG_M3))
}

/// Share of pure volumes at 20 C from solute mass over solution mass.
#[must_use]
pub fn volume_from_mass(solute: Solute, mass: MassFraction) -> VolumeFraction {
    let part = mass.value() / solute.density_20c_kg_m3();
    VolumeFraction::clamped(part / (part + (1.0 - mass.value()) / WATER_DENSITY_20C_KG_M3))
}

/// What a product became with the water that was left in a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Dilution {
    /// Strength if it all mixed.
    pub mixed: VolumeFraction,
    /// Salinity of the water part, if the left-over water was salt. It lowers first ice a little more; the service
    /// does not count on that.
    pub salinity: Salinity,
    /// Litres of the mix, without the few per cent that it shrinks.
    pub litres: Litres,
}

/// Pours `litres` of a product onto `leftover` litres of water, perfectly mixed: `p a / (a + r)`.
///
/// The worst pocket of a real circuit is weaker than this: see [`worst_pocket`].
///
/// # Errors
/// [`LiquidError::NothingToMix`] when both amounts are 0.
pub fn dilute(
    product: VolumeFraction,
    litres: Litres,
    leftover: Litres,
    leftover_salinity: Option<Salinity>,
) -> Result<Dilution, LiquidError> {
    let total = litres + leftover;
    if total.value() <= 0.0 {
        return Err(LiquidError::NothingToMix);
    }
    let mixed = VolumeFraction::clamped(product.value() * litres.value() / total.value());
    let water = total.value() * (1.0 - mixed.value());
    let salt = leftover_salinity.map_or(0.0, Salinity::value) * leftover.value();
    let salinity = Salinity::clamped(if water > 0.0 { salt / water } else { 0.0 });
    Ok(Dilution { mixed, salinity, litres: total })
}

/// A range of strengths: the label of a product class, or what comes of one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StrengthRange {
    /// The weakest that it may be.
    pub low: VolumeFraction,
    /// The strongest.
    pub high: VolumeFraction,
}

/// Range in, range out: the weakest product on the most water, the strongest on the least.
///
/// # Errors
/// As [`dilute`].
pub fn dilute_range(
    product: StrengthRange,
    litres: Litres,
    leftover_least: Litres,
    leftover_most: Litres,
) -> Result<StrengthRange, LiquidError> {
    Ok(StrengthRange {
        low: dilute(product.low, litres, leftover_most, None)?.mixed,
        high: dilute(product.high, litres, leftover_least, None)?.mixed,
    })
}

/// Strength of the worst pocket when only the share `reached` (0 to 1) of the left-over water joined the flow and the
/// rest lies unmixed: the pocket is plain water as soon as anything was not reached.
#[must_use]
pub fn worst_pocket(mixed: VolumeFraction, reached: Fraction) -> VolumeFraction {
    if reached.value() < 1.0 { VolumeFraction::clamped(0.0) } else { mixed }
}

/// Strength after `times` flushes of `litres` of product through a circuit that keeps `leftover` litres each time.
///
/// # Errors
/// As [`dilute`].
pub fn flush_repeatedly(
    product: VolumeFraction,
    litres: Litres,
    leftover: Litres,
    times: u32,
) -> Result<VolumeFraction, LiquidError> {
    let total = litres + leftover;
    if total.value() <= 0.0 {
        return Err(LiquidError::NothingToMix);
    }
    let kept = leftover.value() / total.value();
    let strength = (0..times).fold(0.0, |inside, _| inside * kept + product.value() * (1.0 - kept));
    Ok(VolumeFraction::clamped(strength))
}

/// Strength of a yard's recirculating tank after `boats` boats, each of which adds `residue` litres of water to the
/// `tank` litres that go round, and takes the same amount of the mix away.
///
/// # Errors
/// As [`dilute`].
pub fn recycled_tank(
    start: VolumeFraction,
    tank: Litres,
    residue: Litres,
    boats: u32,
) -> Result<VolumeFraction, LiquidError> {
    let total = tank + residue;
    if total.value() <= 0.0 {
        return Err(LiquidError::NothingToMix);
    }
    let kept = tank.value() / total.value();
    Ok(VolumeFraction::clamped((0..boats).fold(start.value(), |inside, _| inside * kept)))
}

/// Strength of the weakest layer by spring, once the mix has been ice in part: ice floats, and what thaws of it stays on
/// top. Never below 0.
#[must_use]
pub fn after_freeze_and_thaw(mixed: VolumeFraction) -> VolumeFraction {
    VolumeFraction::clamped(mixed.value() - rule("freeze_thaw_loss"))
}

#[derive(Debug, Deserialize)]
struct Rule {
    name: String,
    value: f64,
}

static RULES: LazyLock<Result<Vec<Rule>, TableError>> =
    LazyLock::new(|| rows("mixing.csv", include_str!("../../../config/catalogue/mixing.csv")));

/// A rule of the catalogue; one that is not there takes all the strength away, which a test keeps from being shipped.
fn rule(name: &str) -> f64 {
    let rules = RULES.as_ref().map(Vec::as_slice).unwrap_or_default();
    rules.iter().find(|rule| rule.name == name).map_or(1.0, |rule| rule.value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vol(value: f64) -> VolumeFraction {
        VolumeFraction::new(value).unwrap()
    }

    fn litres(value: f64) -> Litres {
        Litres::new(value).unwrap()
    }

    #[test]
    fn mass_and_volume_are_told_apart() {
        // Pure densities at 20 C: 30 vol% PG is 30.8 % by mass, 40 vol% EG 42.7 %.
        let pg = mass_from_volume(Solute::PropyleneGlycol, vol(0.3));
        let eg = mass_from_volume(Solute::EthyleneGlycol, vol(0.4));
        assert!((pg.value() - 0.3079).abs() < 1e-4);
        assert!((eg.value() - 0.4265).abs() < 1e-4);
        assert!((volume_from_mass(Solute::EthyleneGlycol, eg).value() - 0.4).abs() < 1e-12);
        let jug = ConcentrateShare {
            share: Fraction::new(0.5).unwrap(),
            solute_in_concentrate: vol(0.91),
        };
        assert!((jug.as_volume().value() - 0.455).abs() < 1e-12);
    }

    #[test]
    fn a_share_of_the_finished_mix_is_not_one_of_its_parts() {
        // Densities at 20 C: 50 % by mass is 50.1 % of the solution and 49.1 % of the parts for PG, 47.8 and 47.3 % for EG;
        // ASHRAE 2001 prints 49.9 and 47.6 for the former.
        let of = |solute, share| {
            let share = SolutionShare(Fraction::new(share).unwrap());
            share.as_volume(solute).map(VolumeFraction::value)
        };
        assert!((of(Solute::PropyleneGlycol, 0.501).unwrap() - 0.491).abs() < 5e-4);
        assert!((of(Solute::EthyleneGlycol, 0.478).unwrap() - 0.473).abs() < 5e-4);
        assert_eq!(of(Solute::PropyleneGlycol, 0.0), Some(0.0));
        assert_eq!(of(Solute::EthyleneGlycol, 1.0), Some(1.0));
        assert_eq!(of(Solute::Ethanol, 0.4), None);
    }

    #[test]
    fn left_over_water_weakens_and_salt_is_carried() {
        let mix =
            dilute(vol(0.6), litres(8.0), litres(8.0), Some(Salinity::new(30.0).unwrap())).unwrap();
        assert!((mix.mixed.value() - 0.3).abs() < 1e-12);
        assert!(mix.salinity.value() > 20.0);
        assert_eq!(
            dilute(vol(0.6), litres(0.0), litres(0.0), None),
            Err(LiquidError::NothingToMix)
        );
    }

    #[test]
    fn a_range_stays_a_range() {
        let label = StrengthRange { low: vol(0.25), high: vol(0.35) };
        let range = dilute_range(label, litres(4.0), litres(0.5), litres(2.0)).unwrap();
        assert!(range.low.value() < 0.17 && range.high.value() > 0.31);
    }

    #[test]
    fn what_froze_and_thawed_is_weaker_on_top() {
        // Practical Sailor 2014: up to 7 points.
        assert!((after_freeze_and_thaw(vol(0.30)).value() - 0.23).abs() < 1e-12);
        assert_eq!(after_freeze_and_thaw(vol(0.05)).value(), 0.0);
    }

    #[test]
    fn flushes_strengthen_and_a_recycled_tank_weakens() {
        let once = flush_repeatedly(vol(0.5), litres(10.0), litres(2.0), 1).unwrap();
        let twice = flush_repeatedly(vol(0.5), litres(10.0), litres(2.0), 2).unwrap();
        assert!(once.value() < twice.value() && twice.value() < 0.5);
        let tank = recycled_tank(vol(0.5), litres(100.0), litres(1.0), 20).unwrap();
        assert!((tank.value() - 0.41).abs() < 0.01);
        assert_eq!(worst_pocket(vol(0.3), Fraction::new(0.9).unwrap()).value(), 0.0);
    }
}
