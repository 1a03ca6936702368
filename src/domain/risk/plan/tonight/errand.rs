//! What there is to do before dark, what the evening allows, and a stop of the round.

use crate::domain::boat::SiteId;
use crate::domain::risk::plan::Job;

/// One boat's emergency drain.
#[derive(Debug, Clone, PartialEq)]
pub struct Errand {
    /// As the optimiser sees it, with the minutes of the drain alone.
    pub job: Job,
    /// Crew minutes from the start of the round by which it must be done, where that is before the evening: until then its
    /// chance is within the tolerance. The evening's prices cannot tell an hour gained on it.
    pub within_min: Option<u32>,
    /// Crew minutes from the start of the round before which it cannot begin: it is frozen through until then.
    pub after_min: u32,
    /// Where in its place the boat stands.
    pub location: String,
}

/// What the evening allows.
#[derive(Clone, Copy)]
pub struct Evening<'a> {
    /// The crew's minutes that are left today; `None` where hands are called in.
    pub minutes_left: Option<u32>,
    /// To wait is to wait until the evening of this day, the next working one.
    pub next: usize,
    /// How many go together: each of them spends the ways.
    pub people: u32,
    /// Minutes to a place and back.
    pub way: &'a dyn Fn(&SiteId) -> u32,
}

/// A stop of the round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stop {
    /// Index of the errand.
    pub job: usize,
    /// Crew minutes from the start at which it is done, the ways in between not counted.
    pub done_after_min: u32,
    /// Minutes of the ways until then.
    pub ways_min: u32,
    /// Its cold is expected before it can be reached.
    pub late: bool,
    /// Minutes of its own.
    pub minutes: u32,
    /// Done before the working day begins, by somebody who is called in.
    pub early: bool,
    /// Done after the day's hours, by somebody who stays or comes back: it thaws only then.
    pub after_hours: bool,
}

/// With more places than this not every choice of them is tried: one after another is added that saves something.
pub(super) const PLACES_TRIED: usize = 6;
