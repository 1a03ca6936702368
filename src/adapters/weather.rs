//! The door to the public weather services: one file per service, one polite client for all.
//!
//! A service's answer becomes a [`crate::domain::weather::Forecast`] or a [`PayloadError`]; it never becomes a guess.
//! What is missing stays missing, units are converted by what the document says, and a document that cannot be true
//! counts as none. Nothing here reads a clock: `now` is an argument. No input, however broken or large, panics.

pub mod client;
pub mod eccc;
pub mod interval;
pub mod measure;
pub mod met_norway;
pub mod mosmix;
pub mod nws;
pub mod open_meteo;
pub mod place;
pub mod series;
pub mod unpack;
mod xml;

use thiserror::Error;

pub use nws::problem::Problem;
pub use place::Place;

/// Largest body that is read, in bytes. The largest recorded gridpoint document has 230 kB
/// (api.weather.gov, 2024); eighteen times that still fits a small computer's memory.
pub const BODY_BYTES_MAX: usize = 4 * 1024 * 1024;

/// Most hourly steps that one issue may have: 16 days, the longest horizon of the public hourly services.
pub const STEPS_MAX: usize = 16 * 24;

/// Issue times further ahead of our clock than this are refused, in hours. Services' clocks and ours differ by
/// minutes; hours mean that one of the two is wrong.
pub const ISSUED_AHEAD_HOURS_MAX: i64 = 3;

/// What the caller knows besides the document.
#[derive(Debug, Clone, Copy, Default)]
pub struct Context {
    /// The place that was asked for: when given, a document for another place is refused.
    pub place: Option<Place>,
    /// The present: when given, a document from the far future is refused.
    pub now: Option<chrono::DateTime<chrono::Utc>>,
}

/// Why a document cannot serve as a forecast or observation.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PayloadError {
    /// Longer than [`BODY_BYTES_MAX`].
    #[error("the document has {bytes} bytes, more than the {limit} that are read")]
    TooLarge {
        /// Its length.
        bytes: usize,
        /// The limit.
        limit: usize,
    },
    /// Not JSON, or cut short.
    #[error("the document is not whole JSON ({why}){hint}")]
    NotJson {
        /// The parser's words with line and column.
        why: String,
        /// What it looks like instead, or empty.
        hint: &'static str,
    },
    /// Not XML, or cut short.
    #[error("the document is not whole XML ({why})")]
    NotXml {
        /// The parser's words.
        why: String,
    },
    /// The service's own error document.
    #[error("the service answered with an error document: {0}")]
    Problem(Problem),
    /// A part that must be there is not, or is of another kind.
    #[error("the document has no usable {what}; a {service} document must have it")]
    Missing {
        /// Which part.
        what: &'static str,
        /// Which kind of document was read for.
        service: &'static str,
    },
    /// The temperature came without a unit, or in one that is unknown here.
    #[error("the temperature's unit is {unit}; only units that the document names are converted")]
    Unit {
        /// What was found, or "not given".
        unit: String,
    },
    /// No hour has a temperature.
    #[error(
        "none of the {hours} hours has a usable temperature ({dropped} values dropped as impossible)"
    )]
    AllMissing {
        /// Hours in the document.
        hours: usize,
        /// Values that were dropped.
        dropped: usize,
    },
    /// One temperature for days on end.
    #[error(
        "all {hours} hours have the same temperature of {celsius:.1} C; that is a stuck value, not weather"
    )]
    AllOneValue {
        /// Hours with a value.
        hours: usize,
        /// The value.
        celsius: f64,
    },
    /// The answer is for somewhere else.
    #[error("the document is for {answered}, the place asked for is {asked}")]
    WrongPlace {
        /// Where the document is for.
        answered: String,
        /// What was asked.
        asked: Place,
    },
    /// Dates that do not fit the issue or the present.
    #[error("the dates cannot be right: {why}")]
    Dates {
        /// Which ones.
        why: String,
    },
}
