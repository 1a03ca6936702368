//! One quantity that can be asked for by name.

use super::input::{Inputs, QuantityError};

/// One quantity that can be asked for by name.
#[derive(Debug)]
pub struct Quantity {
    /// Its name in check rows; the unit of temperatures in inputs stands in their names.
    pub name: &'static str,
    /// Unit of the answer.
    pub unit: &'static str,
    /// Inputs that must be given.
    pub needs: &'static [&'static str],
    /// Inputs that may be given.
    pub takes: &'static [&'static str],
    pub(super) compute: fn(&Inputs) -> Result<f64, QuantityError>,
}
