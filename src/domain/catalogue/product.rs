//! Antifreezes by what is written on the jug. The label's number is a burst figure for copper pipe and is never used.

use serde::Deserialize;

use super::CatalogueError;
use super::table::{list, rows};

const TABLE: &str = "products.csv";

/// What a product is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProductFluid {
    /// Propylene glycol.
    PropyleneGlycol,
    /// Ethylene glycol: poisonous.
    EthyleneGlycol,
    /// Ethyl alcohol, with whatever the maker adds.
    Ethanol,
    /// Methyl alcohol.
    Methanol,
    /// A mixture, or not known.
    Unknown,
}

/// One row of the product table.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Product {
    /// Its id.
    pub id: String,
    /// What it is made of.
    pub fluid: ProductFluid,
    fluid_words: String,
    /// Label class as printed, such as `-50F`.
    pub label: String,
    label_words: String,
    /// Weakest share of antifreeze by mass met under this label, 0 to 1.
    pub weakest: f64,
    /// Strongest share.
    pub strongest: f64,
    /// First ice of the weakest, in C; absent where the label says nothing of the mix.
    pub first_ice_weak_c: Option<f64>,
    /// The refractometer scale that can read it, `PG` or `EG`, or `none`.
    pub readable: String,
    /// Where this comes from.
    pub source: String,
}

impl Product {
    /// Whether a refractometer can read it on some scale.
    #[must_use]
    pub fn is_readable(&self) -> bool {
        self.readable != "none"
    }

    /// Whether these words name its fluid: `propylene glycol` and `propylene-glycol`, as `blend` has it, are the same.
    #[must_use]
    pub fn has_fluid(&self, words: &str) -> bool {
        let words = words.trim().replace(['-', '_'], " ");
        list(&self.fluid_words).any(|word| word.eq_ignore_ascii_case(&words))
    }

    /// Whether these words are its label.
    #[must_use]
    pub fn has_label(&self, words: &str) -> bool {
        // `-50 F` is `-50F`.
        let words = words.replace(' ', "");
        let words = words.as_str();
        self.label.eq_ignore_ascii_case(words)
            || list(&self.label_words).any(|word| word.replace(' ', "").eq_ignore_ascii_case(words))
    }
}

/// Reads the product table.
pub(crate) fn parse(text: &str) -> Result<Vec<Product>, CatalogueError> {
    let mut products = Vec::new();
    for (line, product) in rows::<Product>(TABLE, text)? {
        if !(0.0..=1.0).contains(&product.weakest) || product.strongest < product.weakest {
            return Err(CatalogueError::Row {
                table: TABLE,
                line,
                what: format!("{}: the range of strength is not one", product.id),
            });
        }
        products.push(product);
    }
    Ok(products)
}

#[cfg(test)]
mod tests {
    use super::ProductFluid;
    use crate::domain::catalogue::Catalogue;

    #[test]
    fn the_calculators_names_of_fluids_are_known_to_the_log() {
        let catalogue = Catalogue::built_in().unwrap();
        for (name, fluid) in [
            ("propylene-glycol", ProductFluid::PropyleneGlycol),
            ("ethylene_glycol", ProductFluid::EthyleneGlycol),
            ("Propylene Glycol", ProductFluid::PropyleneGlycol),
        ] {
            let found = catalogue.products().iter().find(|product| product.has_fluid(name));
            assert_eq!(found.map(|product| product.fluid), Some(fluid), "{name}");
        }
    }
}
