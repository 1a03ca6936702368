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

    /// A number from `low` to `high`, or `default` where it is not given.
    pub(super) fn between_or(
        &self,
        name: &str,
        (low, high): (f64, f64),
        default: f64,
    ) -> Result<f64, QuantityError> {
        if self.0.contains_key(name) { self.between(name, low, high) } else { Ok(default) }
    }

    /// Where something freezes, C: 0 where it is not given.
    pub(super) fn freezes_c(&self) -> Result<f64, QuantityError> {
        self.between_or("freeze_C", (-100.0, 10.0), 0.0)
    }

    /// A number from `low` to `high`.
    pub(super) fn between(&self, name: &str, low: f64, high: f64) -> Result<f64, QuantityError> {
        self.checked(name, |value| (low..=high).contains(&value), || format!("{low} to {high}"))
    }

    /// A number above 0, and no more than makes sense of what it is.
    pub(super) fn positive(&self, name: &str) -> Result<f64, QuantityError> {
        let most = most(name);
        let range = || format!("above 0 and at most {most}");
        self.checked(name, |value| value > 0.0 && value <= most, range)
    }

    /// A number of 0 or more, and no more than makes sense of what it is.
    pub(super) fn not_negative(&self, name: &str) -> Result<f64, QuantityError> {
        self.between(name, 0.0, most(name))
    }

    /// A number of `low` or more, and no more than makes sense of what it is.
    pub(super) fn at_least(&self, name: &str, low: f64) -> Result<f64, QuantityError> {
        self.between(name, low, most(name))
    }

    /// A temperature in C, not below absolute zero and not above what water on a boat is at.
    pub(super) fn celsius(&self, name: &str) -> Result<f64, QuantityError> {
        self.between(name, -273.15, WARMEST_C)
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

/// No part that is asked about is warmer, C.
pub(super) const WARMEST_C: f64 = 150.0;

/// The most that makes sense of an input, by the unit at the end of its name: ten metres of pipe wall or ice, a hundred
/// tonnes of water, a hundred years.
fn most(name: &str) -> f64 {
    match name.rsplit_once('_').map_or("", |(_, unit)| unit) {
        "m" => 10.0,
        "in" => 400.0,
        "kg" | "L" => 1.0e5,
        "h" => 1.0e6,
        "s" => 4.0e9,
        "days" => 40_000.0,
        _ => 1.0e9,
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
        assert_eq!(inputs.between_or("c", (0.0, 9.0), 7.0), Ok(7.0));
    }

    #[test]
    fn what_does_not_read_is_refused() {
        for text in ["a", "=1", "a=1; a=2"] {
            assert!(matches!(Inputs::parse(text), Err(QuantityError::Form(_))), "{text}");
        }
        let inputs = Inputs::parse("a=one; b=inf; c=-1").unwrap();
        assert!(inputs.number("a").is_err() && inputs.number("b").is_err());
        assert!(inputs.positive("c").unwrap_err().to_string().contains("above 0"));
        let inputs = Inputs::parse("bore_m=1e300; tau_h=1e300; air_C=1e5").unwrap();
        assert!(inputs.positive("bore_m").unwrap_err().to_string().contains("at most 10"));
        assert!(inputs.not_negative("tau_h").is_err() && inputs.celsius("air_C").is_err());
    }
}
