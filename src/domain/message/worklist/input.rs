//! What a worklist is made from.

use chrono::{DateTime, Utc};

use crate::domain::alert::Low;
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::CircuitRisk;
use crate::domain::weather::ForecastState;
use crate::domain::weather::measured::Measured;
use crate::domain::weather::official::Official;
use crate::domain::yard::Site;

/// A place on the worklist.
#[derive(Clone)]
pub struct PlaceLine<'a> {
    /// Which.
    pub site: &'a Site,
    /// The low to come; `None` where it cannot be said.
    pub low: Option<&'a Low>,
    /// When its forecast was issued.
    pub issued_at: Option<DateTime<Utc>>,
    /// Whether that can be relied on.
    pub forecast: ForecastState,
    /// Which services it is from, as `nws-gridpoint+met-norway`; empty where there is none.
    pub service: &'a str,
    /// What a station nearby says now.
    pub measured: Option<&'a Measured>,
    /// Fresh snow to come until the horizon, cm, and when the last of it falls.
    pub snow: Option<(f64, DateTime<Utc>)>,
    /// Official notices of cold in force, and whether our own forecast shows nothing of them.
    pub official: Vec<(Official, bool)>,
}

/// A boat on the worklist.
#[derive(Clone, Copy)]
pub struct WorklistBoat<'a> {
    /// Which.
    pub boat: &'a Boat,
    /// Its record.
    pub state: &'a BoatState,
    /// Where it stands.
    pub site: &'a Site,
    /// Its rows, the most pressing first.
    pub rows: &'a [CircuitRisk],
    /// How things stand with its people, such as `owner told Wed 08:00`; may be empty.
    pub remark: &'a str,
}

/// Something that cannot be judged, and why. It is never left out and never shown as harmless.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CannotSay {
    /// A boat or place.
    pub what: String,
    /// Why not.
    pub why: String,
}

/// An alert that ended since the last worklist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverLine {
    /// The boat's name.
    pub boat: String,
    /// The place's name.
    pub place: String,
    /// The record says done.
    pub done: bool,
    /// Parts are past their limit by our reckoning.
    pub passed: bool,
    /// It is not followed any more: the boat is in no less danger for that.
    pub dropped: bool,
    /// It was taken back, as issued in error.
    pub cancelled: bool,
}

/// A letter to an owner that waits for the yard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldLine {
    /// The owner's name.
    pub owner: String,
    /// The boat's name.
    pub boat: String,
    /// The letter's subject.
    pub subject: String,
    /// When it goes by itself.
    pub goes: DateTime<Utc>,
}

/// The crew's plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CrewLines {
    /// By which day to start, in a few sentences.
    pub headline: String,
    /// Tonight's emergency drains in walking order, a line each.
    pub round: Vec<String>,
    /// Boats and minutes of those drains, such as `7 boats, 1 h 37 min`; empty where there are none.
    pub round_work: String,
    /// Litres to have on the cart tonight, by product; may be empty.
    pub cart: String,
    /// The complete lay-ups that end today, a line each.
    pub today: Vec<String>,
    /// Litres to have for the lay-ups of the week, by product; may be empty.
    pub order: String,
    /// Jobs that nobody of the crew may do, a line each.
    pub outside: Vec<String>,
    /// What of it has to stand in the subject; empty where nothing presses.
    pub subject: String,
}

/// What the worklist is made of, in the order of the worklist.
#[derive(Clone, Copy)]
pub struct Worklist<'a> {
    /// The instant it is for.
    pub at: DateTime<Utc>,
    /// End of the horizon of its chances.
    pub until: DateTime<Utc>,
    /// The places, all of them.
    pub places: &'a [PlaceLine<'a>],
    /// The boats with rows, in order. Rows of priority `notice` are counted, not listed.
    pub boats: &'a [WorklistBoat<'a>],
    /// What cannot be judged.
    pub cannot_say: &'a [CannotSay],
    /// What ended since the last one, of what this reader had been told.
    pub over: &'a [OverLine],
    /// Letters to owners that wait for this reader.
    pub held: &'a [HeldLine],
    /// What the crew is to do; `None` where there is no plan.
    pub plan: Option<&'a CrewLines>,
    /// Head of the log's chain, where one is kept.
    pub log_head: Option<&'a str>,
}
