//! What antifreeze is sold as, what to say beside an answer about a blend, and how much of a product mends a weak one.

use std::sync::LazyLock;

use serde::Deserialize;

use super::solute::Solute;
use super::strength::StrengthRange;
use super::table::{TableError, rows};
use crate::domain::units::{Litres, VolumeFraction};

/// A class of product by its label.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Product {
    /// Its name in the catalogue.
    pub id: String,
    /// What stands on it, several with semicolons.
    pub label: String,
    /// What it is, in words.
    pub what: String,
    /// What is in it.
    pub solute: Solute,
    /// The weakest of its class, litres of solute over litres of product.
    pub low: VolumeFraction,
    /// The strongest.
    pub high: VolumeFraction,
    /// Where the range is from.
    pub source: String,
}

impl Product {
    /// Weakest to strongest.
    #[must_use]
    pub const fn strength(&self) -> StrengthRange {
        StrengthRange { low: self.low, high: self.high }
    }

    /// Is `words` its label, or its name in the catalogue? `-50`, `-50 F` and `-50°F` are one.
    #[must_use]
    pub fn is_labelled(&self, words: &str) -> bool {
        let plain = |words: &str| {
            let words: String =
                words.to_lowercase().chars().filter(|c| !c.is_whitespace() && *c != '°').collect();
            words.strip_suffix('f').map_or(words.clone(), str::to_owned)
        };
        words.trim().eq_ignore_ascii_case(&self.id)
            || self.label.split(';').any(|label| plain(words) == plain(label))
    }
}

/// Every class of product, weakest first for each solute.
///
/// # Errors
/// [`TableError`] says which row does not read.
pub fn products() -> Result<&'static [Product], TableError> {
    PRODUCTS.as_ref().map(Vec::as_slice).map_err(Clone::clone)
}

/// Litres of a product that turn `circuit` litres of a mix into one of the strength `needed`, by letting as many litres
/// of the mix out; `None` when the product is not strong enough, 0 when nothing is needed.
#[must_use]
pub fn litres_to_exchange(
    circuit: Litres,
    has: VolumeFraction,
    needed: VolumeFraction,
    product: VolumeFraction,
) -> Option<Litres> {
    if needed <= has {
        return Some(Litres::clamped(0.0));
    }
    let share = (needed.value() - has.value()) / (product.value() - has.value());
    (product >= needed).then(|| Litres::clamped(share * circuit.value()))
}

/// Litres of a product to pour on `leftover` litres of plain water for a mix of the strength `needed`; `None` when the
/// product is not stronger than that.
#[must_use]
pub fn litres_to_add(
    leftover: Litres,
    needed: VolumeFraction,
    product: VolumeFraction,
) -> Option<Litres> {
    (product > needed || leftover.value() == 0.0 && product >= needed).then(|| {
        let above = product.value() - needed.value();
        let litres = if above > 0.0 { leftover.value() * needed.value() / above } else { 0.0 };
        Litres::clamped(litres)
    })
}

/// What to say in the case `when`; `None` when the catalogue has no such case.
#[must_use]
pub fn caution(when: &str) -> Option<&'static str> {
    let cautions = CAUTIONS.as_ref().ok()?;
    cautions.iter().find(|row| row.when == when).map(|row| row.text.as_str())
}

/// Whether both tables read as they should.
///
/// # Errors
/// [`TableError`] of the first that does not.
pub fn check_product_tables() -> Result<(), TableError> {
    products()?;
    CAUTIONS.as_ref().map(|_| ()).map_err(Clone::clone)
}

#[derive(Debug, Deserialize)]
struct Caution {
    when: String,
    text: String,
}

static PRODUCTS: LazyLock<Result<Vec<Product>, TableError>> = LazyLock::new(|| {
    const TABLE: &str = "antifreeze_products.csv";
    let products: Vec<Product> =
        rows(TABLE, include_str!("../../../config/catalogue/antifreeze_products.csv"))?;
    match products.iter().find(|product| product.low > product.high) {
        Some(product) => Err(TableError::Value {
            table: TABLE,
            row: product.id.clone(),
            reason: "low must not be above high".to_owned(),
        }),
        None => Ok(products),
    }
});

static CAUTIONS: LazyLock<Result<Vec<Caution>, TableError>> = LazyLock::new(|| {
    rows("blend_cautions.csv", include_str!("../../../config/catalogue/blend_cautions.csv"))
});

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
    fn the_tables_read_and_hold_what_the_calculator_says() {
        check_product_tables().unwrap();
        for when in ["beyond_curve", "mixed", "poison", "alcohol", "acid", "reading", "water"] {
            assert!(caution(when).is_some(), "{when}");
        }
        assert_eq!(caution("sunshine"), None);
    }

    #[test]
    fn an_exchange_and_a_top_up_reach_the_strength_asked_for() {
        let out = litres_to_exchange(litres(10.0), vol(0.2), vol(0.35), vol(0.5)).unwrap().value();
        assert!((((10.0 - out) * 0.2 + out * 0.5) / 10.0 - 0.35).abs() < 1e-12);
        let add = litres_to_add(litres(2.0), vol(0.3), vol(0.5)).unwrap().value();
        assert!((add * 0.5 / (add + 2.0) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn a_product_that_is_too_weak_is_no_remedy() {
        assert_eq!(litres_to_exchange(litres(10.0), vol(0.2), vol(0.35), vol(0.3)), None);
        assert_eq!(litres_to_add(litres(2.0), vol(0.3), vol(0.3)), None);
        assert_eq!(
            litres_to_exchange(litres(10.0), vol(0.4), vol(0.35), vol(0.3)).map(Litres::value),
            Some(0.0)
        );
    }
}
