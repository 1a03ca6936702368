//! What may be asked about a mixture, and what is wrong with a question.

use thiserror::Error;

use crate::domain::physics::reading::NotEvidence;
use crate::domain::physics::{LiquidError, STRONGEST, TableError};
use crate::domain::units::{Celsius, UnitError};

/// Arguments of `blend`.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct BlendArgs {
    /// fresh-water, sea-water, propylene-glycol, ethylene-glycol, ethanol, methanol, glycerol or battery-acid
    #[arg(long)]
    pub fluid: String,
    /// The product by its label, such as -50F, -100F, 50/50 or concentrate: answered as a range, weakest to strongest
    #[arg(long, group = "strength", allow_hyphen_values = true)]
    pub label: Option<String>,
    /// Strength as on a jug's mixing table, litres of bought concentrate over litres of concentrate and water: 0.5 or 50%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub concentrate: Option<f64>,
    /// Strength as a share of the volumes of pure antifreeze and water before mixing: 0.30 or 30%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub volume: Option<f64>,
    /// Strength as litres of pure glycol in a litre of the finished mix, as laboratory tables give it: 0.31 or 31%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub finished: Option<f64>,
    /// Strength as a share of the mass: 0.31 or 31%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub mass: Option<f64>,
    /// Strength as read off a refractometer on the scale of this fluid: -13, -13C or 9F
    #[arg(long, value_parser = parse_temperature, group = "strength", allow_hyphen_values = true)]
    pub first_ice: Option<Celsius>,
    /// The scale that was read, if it is not that of the fluid: then the reading is refused
    #[arg(long, requires = "first_ice")]
    pub scale: Option<String>,
    /// Litres of the product that went in
    #[arg(long, requires = "left_over", allow_hyphen_values = true)]
    pub litres: Option<f64>,
    /// Litres of water that were left in the circuit
    #[arg(long, requires = "litres", allow_hyphen_values = true)]
    pub left_over: Option<f64>,
    /// Litres of water that may have been left at the most, where nobody knows: --left-over is then the least
    #[arg(long, requires = "left_over", allow_hyphen_values = true)]
    pub left_over_most: Option<f64>,
    /// Share of the left-over water that the flow is known to have reached, such as 100%; not said is not known
    #[arg(long, requires = "left_over", value_parser = parse_share, allow_hyphen_values = true)]
    pub reached: Option<f64>,
    /// Flushed so many times, each time with that many litres
    #[arg(long, requires = "litres", value_parser = clap::value_parser!(u32).range(1..=100))]
    pub flushes: Option<u32>,
    /// The product comes from a tank of so many litres that goes from boat to boat
    #[arg(long, requires = "boats", allow_hyphen_values = true)]
    pub tank: Option<f64>,
    /// Boats that the tank has gone through, each of which left the left-over litres in it
    #[arg(long, requires_all = ["tank", "left_over"], value_parser = clap::value_parser!(u32).range(0..=1000))]
    pub boats: Option<u32>,
    /// Practical salinity of the water that was left, 0 to 42
    #[arg(long, requires = "left_over", allow_hyphen_values = true)]
    pub left_over_salinity: Option<f64>,
    /// Practical salinity of sea water, 0 to 42
    #[arg(long, allow_hyphen_values = true)]
    pub salinity: Option<f64>,
    /// Specific gravity of battery acid at 25 C, 1.0 to 1.4
    #[arg(long, allow_hyphen_values = true)]
    pub sg: Option<f64>,
    /// Or: its charge, such as 75%
    #[arg(long, value_parser = parse_share, conflicts_with = "sg", allow_hyphen_values = true)]
    pub charge: Option<f64>,
    /// Or: volts of a 12 V battery that has rested for hours without load or charger
    #[arg(long, conflicts_with_all = ["sg", "charge"], allow_hyphen_values = true)]
    pub volts: Option<f64>,
    /// Days that the battery will have stood without a charger
    #[arg(long, allow_hyphen_values = true)]
    pub days: Option<f64>,
    /// Milliamperes of a load that stays on
    #[arg(long, requires_all = ["days", "amp_hours"], allow_hyphen_values = true)]
    pub load_ma: Option<f64>,
    /// Ampere-hours of the battery
    #[arg(long, requires = "load_ma", allow_hyphen_values = true)]
    pub amp_hours: Option<f64>,
    /// Say how much of it is ice at this temperature
    #[arg(long, value_parser = parse_temperature, allow_hyphen_values = true)]
    pub at: Option<Celsius>,
    /// Say how much stronger it must be to hold to this temperature, and how many litres of which product
    #[arg(long = "for", value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub hold_to: Option<Celsius>,
}

/// A question that cannot be answered as put.
#[derive(Debug, Error)]
pub enum BlendError {
    /// A liquid that cannot be.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
    /// A reading that tells no strength.
    #[error("--first-ice: {0}")]
    Reading(#[from] NotEvidence),
    /// A label that no product of this fluid bears.
    #[error(
        "--label {label}: no class of {fluid} bears it here; known: {known}; else give --volume from the data sheet"
    )]
    UnknownLabel {
        /// Which fluid.
        fluid: &'static str,
        /// What was given.
        label: String,
        /// What there is.
        known: String,
    },
    /// Nobody has said how much the mix shrinks.
    #[error(
        "--finished: how much a mix of {fluid} shrinks is known here for the two glycols only; give --volume or --mass"
    )]
    Shrinkage {
        /// Which fluid.
        fluid: &'static str,
    },
    /// More than is less than the least.
    #[error("--left-over-most {most}: must not be less than --left-over {least}")]
    LessThanLeast {
        /// What was given as the most.
        most: f64,
        /// And as the least.
        least: f64,
    },
    /// A number outside its range.
    #[error("{flag}: {source}")]
    Value {
        /// Which flag.
        flag: &'static str,
        /// What is wrong.
        source: UnitError,
    },
    /// A number outside its range.
    #[error("{flag} {value}: must be a number from 0 to {most}")]
    OutOfRange {
        /// Which flag.
        flag: &'static str,
        /// What was given.
        value: f64,
        /// The most that makes sense.
        most: f64,
    },
    /// Volts that no battery of six cells has at rest.
    #[error(
        "--volts {volts}: a 12 V battery at rest, hours after load and charger, has 11.2 to 13.2 V; measure it again"
    )]
    NotRested {
        /// What was given.
        volts: f64,
    },
    /// A flag is missing.
    #[error("{fluid} needs {flags}")]
    Needs {
        /// Which fluid.
        fluid: String,
        /// What to give.
        flags: &'static str,
    },
    /// A flag means nothing for this fluid.
    #[error("{flag} means nothing for {fluid}; leave it out")]
    Meaningless {
        /// Which fluid.
        fluid: String,
        /// Which flag.
        flag: &'static str,
    },
    /// No mix does it.
    #[error(
        "no {fluid} is known to hold to {t_c} C: the curve ends at {end_c:.1} C{}; use another fluid or drain it",
        if *spread_k > 0.0 { format!(", and is uncertain by {spread_k:.1} C") } else { String::new() }
    )]
    TooCold {
        /// Which fluid.
        fluid: &'static str,
        /// What was asked for.
        t_c: f64,
        /// Where the curve ends.
        end_c: f64,
        /// How far published curves lie apart there, K.
        spread_k: f64,
    },
    /// Stronger than any published curve.
    #[error(
        "this {fluid} is stronger than {STRONGEST} by mass, where published figures end and stronger is not colder: dilute it with water first, then ask again"
    )]
    TooStrong {
        /// Which fluid.
        fluid: &'static str,
    },
    /// A table of the catalogue does not read.
    #[error(transparent)]
    Table(#[from] TableError),
}

pub(crate) fn rounded(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    let rounded = (value * scale).round() / scale;
    if rounded == 0.0 { 0.0 } else { rounded }
}

pub(super) fn needs(args: &BlendArgs, flags: &'static str) -> BlendError {
    BlendError::Needs { fluid: args.fluid.clone(), flags }
}

pub(super) fn named<T>(flag: &'static str, value: Result<T, UnitError>) -> Result<T, BlendError> {
    value.map_err(|source| BlendError::Value { flag, source })
}

/// A share: `0.3` or `30%`.
pub(super) fn parse_share(text: &str) -> Result<f64, String> {
    let (number, scale) = match text.trim().strip_suffix('%') {
        Some(percent) => (percent, 0.01),
        None => (text, 1.0),
    };
    let share = number.trim().parse::<f64>().map(|number| number * scale);
    share.ok().filter(|share| (0.0..=1.0).contains(share)).ok_or_else(|| {
        "must be a share from 0 to 1, or a percentage with its sign: 0.3 or 30%".to_owned()
    })
}

/// A temperature with an optional unit; a plain number is in C.
///
/// # Errors
/// Says what would be right.
pub fn parse_temperature(text: &str) -> Result<Celsius, String> {
    let trimmed = text.trim();
    let (number, fahrenheit) = match trimmed.strip_suffix(['F', 'f']) {
        Some(number) => (number, true),
        None => (trimmed.strip_suffix(['C', 'c']).unwrap_or(trimmed), false),
    };
    let number = number.trim().trim_end_matches('°').trim_end();
    let value: f64 = number
        .parse()
        .map_err(|_| format!("`{text}` is no temperature; write it like -12, -12C or 10F"))?;
    let degrees = if fahrenheit { Celsius::from_fahrenheit(value) } else { Celsius::new(value) };
    degrees.map_err(|error| error.to_string())
}
