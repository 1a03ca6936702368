//! What is dissolved in a mix, and from which strength on which ice appears.
//!
//! Of the published curves the service takes the warmest credible one: Melinder 2010 for propylene glycol, the ASHRAE
//! Fundamentals 2001 table for ethylene glycol (up to 2.9 K warmer than Melinder). Every curve is pinned to 0 C at no
//! solute and ends at [`STRONGEST`]: beyond it the laboratories disagree and stronger is not colder.

use std::fmt;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::constants::{WATER_CP_J_KGK, ZERO_C_IN_K};
use super::curve::{MonotoneCubic, solve_falling};
use super::table::{TableError, rows};

/// The strongest mix, by mass, for which a first-ice temperature is said.
pub const STRONGEST: f64 = 0.60;

/// Up to this strength the curve stays at its value at [`STRONGEST`]; beyond, neat substance may freeze warmer.
const NEAT_FROM: f64 = 0.70;

/// Below this strength the fits are bent to pass through 0 C at no solute (they miss it by up to 0.05 K).
const PINNED_BELOW: f64 = 0.05;

/// What is dissolved in the water of a blend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Solute {
    /// 1,2-propanediol.
    PropyleneGlycol,
    /// 1,2-ethanediol: poisonous.
    EthyleneGlycol,
    /// Ethyl alcohol.
    Ethanol,
    /// Methyl alcohol.
    Methanol,
    /// 1,2,3-propanetriol.
    Glycerol,
}

impl Solute {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::PropyleneGlycol,
        Self::EthyleneGlycol,
        Self::Ethanol,
        Self::Methanol,
        Self::Glycerol,
    ];

    /// From its name in a contract, a table or a check row: hyphens and underscores are alike, case is ignored.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        let name = name.trim().to_ascii_lowercase().replace(['_', ' '], "-");
        Self::ALL.into_iter().find(|solute| solute.name() == name)
    }

    /// Its name in contracts.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::PropyleneGlycol => "propylene-glycol",
            Self::EthyleneGlycol => "ethylene-glycol",
            Self::Ethanol => "ethanol",
            Self::Methanol => "methanol",
            Self::Glycerol => "glycerol",
        }
    }

    /// Density of the pure substance at 20 C, kg/m3.
    #[must_use]
    pub fn density_20c_kg_m3(self) -> f64 {
        facts(self).map_or(1000.0, |facts| facts.density_20c_kg_m3)
    }

    /// Heat capacity of the mix near 0 C, J/(kg K), at the mass fraction `x`.
    #[must_use]
    pub fn mix_cp_j_kgk(self, x: f64) -> f64 {
        facts(self).map_or(WATER_CP_J_KGK, |facts| {
            WATER_CP_J_KGK - facts.cp_linear_j_kgk * x - facts.cp_square_j_kgk * x * x
        })
    }

    /// First ice in C at the mass fraction `x`, 0 to 1.
    ///
    /// Beyond [`STRONGEST`] it stays, and from 0.70 on it rises to the freezing point of the neat substance where that
    /// is warmer (`config/catalogue/neat.csv`): the warmest credible value, not a prediction. A catalogue that did not read leaves 0 C, the most cautious answer; a test keeps that from being shipped.
    #[must_use]
    pub fn first_ice_c(self, x: f64) -> f64 {
        let x = if x.is_nan() { 0.0 } else { x.clamp(0.0, 1.0) };
        facts(self).map_or(0.0, |facts| {
            let end_c = facts.liquidus.at(x.min(STRONGEST));
            let towards_neat = ((x - NEAT_FROM) / (1.0 - NEAT_FROM)).max(0.0);
            end_c + facts.neat_c.map_or(0.0, |neat_c| (neat_c - end_c).max(0.0) * towards_neat)
        })
    }

    /// The mass fraction whose first ice is at `t_c`; `None` above 0 C and below the end of the curve.
    #[must_use]
    pub fn mass_fraction_at_c(self, t_c: f64) -> Option<f64> {
        if t_c == 0.0 {
            return Some(0.0);
        }
        solve_falling(|x| self.first_ice_c(x), t_c, 0.0, STRONGEST)
    }

    /// How far published first-ice figures lie apart at the mass fraction `x`, in K, about one standard deviation.
    #[must_use]
    pub fn spread_k(self, x: f64) -> f64 {
        spread(self.name(), x)
    }

    /// The mass fractions between which measured points lie behind the curve.
    #[must_use]
    pub fn measured_between(self) -> (f64, f64) {
        facts(self).map_or((0.0, 0.0), |facts| facts.measured)
    }

    /// Where the curve was published.
    #[must_use]
    pub fn source(self) -> &'static str {
        facts(self).map_or("none", |facts| facts.source.as_str())
    }
}

impl fmt::Display for Solute {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.name())
    }
}

/// How far published first-ice figures of `liquid` lie apart at `x`, K.
pub(crate) fn spread(liquid: &str, x: f64) -> f64 {
    let Ok(catalogue) = CATALOGUE.as_ref() else { return 0.0 };
    let of_it = || catalogue.spreads.iter().filter(|row| row.liquid == liquid);
    of_it()
        .find(|row| x <= row.up_to)
        .or_else(|| of_it().next_back())
        .map_or(0.0, |row| row.spread_k)
}

/// Whether the tables of the liquids read as they should.
///
/// # Errors
/// [`TableError`] of the first table that does not.
pub fn check_tables() -> Result<(), TableError> {
    CATALOGUE.as_ref().map(|_| ()).map_err(Clone::clone)
}

/// Melinder's fit as published, for comparison with the service's own curve: first ice in C.
#[must_use]
pub fn melinder_first_ice_c(solute: Solute, x: f64) -> Option<f64> {
    let catalogue = CATALOGUE.as_ref().ok()?;
    let fit = catalogue.fits.iter().find(|fit| fit.solute == solute)?;
    Some(fit.raw_c(x))
}

#[derive(Debug, Clone, Deserialize)]
struct SoluteRow {
    solute: Solute,
    density_20c_kg_m3: f64,
    cp_linear_j_kgk: f64,
    cp_square_j_kgk: f64,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
struct Fit {
    solute: Solute,
    x_b: f64,
    a0: f64,
    a1: f64,
    a2: f64,
    a3: f64,
    a4: f64,
    a5: f64,
    points_low: f64,
    points_high: f64,
    service: String,
    source: String,
}

impl Fit {
    fn raw_c(&self, x: f64) -> f64 {
        let d = x - self.x_b;
        let sum = [self.a4, self.a3, self.a2, self.a1, self.a0]
            .iter()
            .fold(self.a5, |sum, coefficient| sum * d + coefficient);
        sum - ZERO_C_IN_K
    }

    fn pinned_c(&self, x: f64) -> f64 {
        self.raw_c(x) - self.raw_c(0.0) * (1.0 - x / PINNED_BELOW).max(0.0)
    }
}

#[derive(Debug, Clone, Deserialize)]
struct PointRow {
    solute: Solute,
    mass_fraction: f64,
    first_ice_c: f64,
    source: String,
}

#[derive(Debug, Clone, Deserialize)]
struct SpreadRow {
    liquid: String,
    up_to: f64,
    spread_k: f64,
}

#[derive(Debug, Clone, Deserialize)]
struct NeatRow {
    solute: Solute,
    first_ice_c: f64,
}

#[derive(Debug)]
enum Liquidus {
    Fit(Fit),
    Table(MonotoneCubic),
}

impl Liquidus {
    fn at(&self, x: f64) -> f64 {
        match self {
            Self::Fit(fit) => fit.pinned_c(x),
            Self::Table(table) => table.at(x),
        }
    }
}

#[derive(Debug)]
struct Facts {
    solute: Solute,
    density_20c_kg_m3: f64,
    cp_linear_j_kgk: f64,
    cp_square_j_kgk: f64,
    liquidus: Liquidus,
    measured: (f64, f64),
    neat_c: Option<f64>,
    source: String,
}

#[derive(Debug)]
struct Catalogue {
    facts: Vec<Facts>,
    fits: Vec<Fit>,
    spreads: Vec<SpreadRow>,
}

static CATALOGUE: LazyLock<Result<Catalogue, TableError>> = LazyLock::new(read_catalogue);

fn facts(solute: Solute) -> Option<&'static Facts> {
    CATALOGUE.as_ref().ok()?.facts.iter().find(|facts| facts.solute == solute)
}

fn read_catalogue() -> Result<Catalogue, TableError> {
    let solutes: Vec<SoluteRow> =
        rows("solutes.csv", include_str!("../../../config/catalogue/solutes.csv"))?;
    let fits: Vec<Fit> =
        rows("liquidus.csv", include_str!("../../../config/catalogue/liquidus.csv"))?;
    let points: Vec<PointRow> =
        rows("liquidus_points.csv", include_str!("../../../config/catalogue/liquidus_points.csv"))?;
    let spreads =
        rows("liquidus_spread.csv", include_str!("../../../config/catalogue/liquidus_spread.csv"))?;
    let neat: Vec<NeatRow> = rows("neat.csv", include_str!("../../../config/catalogue/neat.csv"))?;
    let facts = solutes
        .into_iter()
        .map(|row| {
            let (liquidus, measured, source) = liquidus_of(row.solute, &fits, &points)?;
            Ok(Facts {
                solute: row.solute,
                density_20c_kg_m3: row.density_20c_kg_m3,
                cp_linear_j_kgk: row.cp_linear_j_kgk,
                cp_square_j_kgk: row.cp_square_j_kgk,
                liquidus,
                measured,
                neat_c: neat.iter().find(|neat| neat.solute == row.solute).map(|n| n.first_ice_c),
                source,
            })
        })
        .collect::<Result<Vec<_>, TableError>>()?;
    Ok(Catalogue { facts, fits, spreads })
}

fn liquidus_of(
    solute: Solute,
    fits: &[Fit],
    points: &[PointRow],
) -> Result<(Liquidus, (f64, f64), String), TableError> {
    if let Some(fit) = fits.iter().find(|fit| fit.solute == solute && fit.service == "yes") {
        let measured = (fit.points_low, fit.points_high);
        return Ok((Liquidus::Fit(fit.clone()), measured, fit.source.clone()));
    }
    let own: Vec<(f64, f64)> = points
        .iter()
        .filter(|row| row.solute == solute)
        .map(|row| (row.mass_fraction, row.first_ice_c))
        .collect();
    let last = points.iter().rfind(|row| row.solute == solute).ok_or(TableError::NoRow {
        table: "liquidus_points.csv",
        row: solute.to_string(),
        known: "a fit marked `yes` in liquidus.csv or a row of points for every solute".to_owned(),
    })?;
    let measured = (0.0, last.mass_fraction);
    Ok((Liquidus::Table(MonotoneCubic::through(&own)), measured, last.source.clone()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tables_read_and_hold_every_solute() {
        check_tables().unwrap();
        for solute in Solute::ALL {
            assert!(facts(solute).is_some(), "{solute}");
            assert_eq!(Solute::parse(solute.name()), Some(solute));
        }
        assert_eq!(Solute::parse("propylene_glycol"), Some(Solute::PropyleneGlycol));
        assert_eq!(Solute::parse("glycol"), None);
    }

    #[test]
    fn stronger_is_colder_up_to_the_end_of_the_curve() {
        for solute in Solute::ALL {
            assert_eq!(solute.first_ice_c(0.0), 0.0, "{solute}");
            for step in 0..600 {
                let x = f64::from(step) * 0.001;
                let (weaker, stronger) = (solute.first_ice_c(x), solute.first_ice_c(x + 0.001));
                assert!(stronger < weaker, "{solute} {x}: {weaker} then {stronger}");
            }
            assert_eq!(solute.first_ice_c(0.65), solute.first_ice_c(STRONGEST));
            assert!(solute.first_ice_c(1.0) >= solute.first_ice_c(STRONGEST));
        }
    }

    #[test]
    fn ethylene_glycol_is_never_colder_than_melinder_by_more_than_a_hair() {
        for step in 0..=60 {
            let x = f64::from(step) * 0.01;
            let melinder = melinder_first_ice_c(Solute::EthyleneGlycol, x).unwrap();
            assert!(Solute::EthyleneGlycol.first_ice_c(x) > melinder - 0.01, "{x}");
        }
    }

    #[test]
    fn straight_coolant_is_not_credited_with_the_cold_of_a_mix() {
        // A coolant maker's bulletin: straight ethylene glycol freezes near -12 C.
        assert_eq!(Solute::EthyleneGlycol.first_ice_c(1.0), -12.0);
        assert!(Solute::EthyleneGlycol.first_ice_c(0.9) > -25.0);
    }

    #[test]
    fn a_strength_is_found_again_from_its_first_ice() {
        for solute in Solute::ALL {
            for step in 0..60 {
                let x = f64::from(step) * 0.01;
                let back = solute.mass_fraction_at_c(solute.first_ice_c(x)).unwrap();
                assert!((back - x).abs() < 1e-9, "{solute} {x} {back}");
            }
            assert_eq!(solute.mass_fraction_at_c(0.5), None);
            assert_eq!(solute.mass_fraction_at_c(-90.0), None);
        }
    }
}
