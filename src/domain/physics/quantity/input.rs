//! Named inputs of a check row: `name=value; name=value`.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::domain::physics::part::PartError;
use crate::domain::physics::{LiquidError, Solute};
use crate::domain::units::UnitError;

/// Why a quantity could not be computed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum QuantityError {
    /// The row's inputs do not read.
    #[error("`{0}` is not of the form name=value; write the inputs as `name=value; name=value`")]
    Form(String),
    /// An input is not there.
    #[error("the input `{0}` is missing")]
    Missing(String),
    /// An input is no number.
    #[error("the input `{name}` is `{value}`, which is not a number")]
    NotANumber {
        /// Which.
        name: String,
        /// As written.
        value: String,
    },
    /// An input lies outside its range.
    #[error("the input `{name}` is {value}, which is not {range}")]
    Range {
        /// Which.
        name: String,
        /// Its value.
        value: f64,
        /// What would be right.
        range: String,
    },
    /// The question has no answer.
    #[error("{0}")]
    NoAnswer(String),
    /// A liquid that cannot be.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
    /// A value that cannot be.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// A part that cannot be.
    #[error(transparent)]
    Part(#[from] PartError),
}

/// Inputs by name, as written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Inputs(BTreeMap<String, String>);

impl Inputs {
    /// From `name=value; name=value`; empty text is no inputs.
    ///
    /// # Errors
    /// [`QuantityError::Form`] for a piece without `=` or without a name, or a name given twice.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        let mut inputs = BTreeMap::new();
        for piece in text.split(';').map(str::trim).filter(|piece| !piece.is_empty()) {
            let (name, value) =
                piece.split_once('=').ok_or_else(|| QuantityError::Form(piece.to_owned()))?;
            let (name, value) = (name.trim(), value.trim());
            if name.is_empty() || inputs.insert(name.to_owned(), value.to_owned()).is_some() {
                return Err(QuantityError::Form(piece.to_owned()));
            }
        }
        Ok(Self(inputs))
    }

    /// The names given.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// An input as text.
    pub(super) fn text(&self, name: &str) -> Result<&str, QuantityError> {
        self.0.get(name).map(String::as_str).ok_or_else(|| QuantityError::Missing(name.to_owned()))
    }

    /// Any finite number.
    pub(super) fn number(&self, name: &str) -> Result<f64, QuantityError> {
        let text = self.text(name)?;
        let not = || QuantityError::NotANumber { name: name.to_owned(), value: text.to_owned() };
        let value: f64 = text.parse().map_err(|_| not())?;
        if value.is_finite() { Ok(value) } else { Err(not()) }
    }

    /// A finite number, or `default` where it is not given.
    pub(super) fn number_or(&self, name: &str, default: f64) -> Result<f64, QuantityError> {
        if self.0.contains_key(name) { self.number(name) } else { Ok(default) }
    }

    /// A number from `low` to `high`.
    pub(super) fn between(&self, name: &str, low: f64, high: f64) -> Result<f64, QuantityError> {
        self.checked(name, |value| (low..=high).contains(&value), || format!("{low} to {high}"))
    }

    /// A number above 0.
    pub(super) fn positive(&self, name: &str) -> Result<f64, QuantityError> {
        self.checked(name, |value| value > 0.0, || "above 0".to_owned())
    }

    /// A number of 0 or more.
    pub(super) fn not_negative(&self, name: &str) -> Result<f64, QuantityError> {
        self.checked(name, |value| value >= 0.0, || "0 or more".to_owned())
    }

    /// A temperature in C, not below absolute zero.
    pub(super) fn celsius(&self, name: &str) -> Result<f64, QuantityError> {
        self.between(name, -273.15, 1000.0)
    }

    /// The solute under `fluid`.
    pub(super) fn solute(&self) -> Result<Solute, QuantityError> {
        let name = self.text("fluid")?;
        Solute::parse(name).ok_or_else(|| LiquidError::UnknownFluid(name.to_owned()).into())
    }

    fn checked(
        &self,
        name: &str,
        right: impl Fn(f64) -> bool,
        range: impl Fn() -> String,
    ) -> Result<f64, QuantityError> {
        let value = self.number(name)?;
        if right(value) {
            Ok(value)
        } else {
            Err(QuantityError::Range { name: name.to_owned(), value, range: range() })
        }
    }
}

/// The answer, or the reason why there is none.
pub(super) fn answer(value: Option<f64>, why_not: &str) -> Result<f64, QuantityError> {
    value.ok_or_else(|| QuantityError::NoAnswer(why_not.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inputs_read_with_and_without_spaces() {
        let inputs = Inputs::parse("a=1;b = -2.5 ; fluid=methanol;").unwrap();
        assert_eq!(inputs.number("a"), Ok(1.0));
        assert_eq!(inputs.number("b"), Ok(-2.5));
        assert_eq!(inputs.solute(), Ok(Solute::Methanol));
        assert_eq!(inputs.number_or("c", 7.0), Ok(7.0));
    }

    #[test]
    fn what_does_not_read_is_refused() {
        for text in ["a", "=1", "a=1; a=2"] {
            assert!(matches!(Inputs::parse(text), Err(QuantityError::Form(_))), "{text}");
        }
        let inputs = Inputs::parse("a=one; b=inf; c=-1").unwrap();
        assert!(inputs.number("a").is_err() && inputs.number("b").is_err());
        assert!(inputs.positive("c").unwrap_err().to_string().contains("above 0"));
    }
}
