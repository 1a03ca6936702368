//! One place: where it is, and what its own thermometer has taught.

use chrono::NaiveDate;
use serde::Serialize;

use crate::domain::boat::SiteId;
use crate::domain::weather::learned::OwnCold;
use crate::domain::yard::SiteKind;

/// A place as one document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlaceView {
    /// Answers of weather services that could not be used, newest first.
    pub refused: Vec<RefusedLine>,
    /// Which place.
    pub site: SiteId,
    /// Outdoors, under a roof, heated, afloat.
    pub kind: SiteKind,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// How much colder than forecast clear calm nights are by the list, K (negative: colder).
    pub listed_night_offset_k: f64,
    /// Mornings that its own thermometer was read.
    pub nights_read: usize,
    /// Of these, how many have no usable forecast of the evening before.
    pub nights_without_forecast: usize,
    /// Is what was learned used?
    pub used: bool,
    /// Only nights up to this day teach.
    pub learn_until: Option<NaiveDate>,
    /// What was learned.
    pub learned: Option<OwnCold>,
}

/// An answer that could not be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RefusedLine {
    /// The service that gave it.
    pub service: String,
    /// When, by the clock of the place.
    pub at: String,
    /// Why it cannot serve.
    pub why: String,
}
