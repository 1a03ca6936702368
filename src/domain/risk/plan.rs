//! Which boats first, and by which day must the crew start: lay-up work against the first night that damages.
//!
//! A [`Job`] is one boat's work with what it is expected to cost to end it on each coming day. Days are numbered from
//! 0, today. Work that is ended on day `d` protects from the evening of that day on, so the price of ending then is
//! what has been lost by that evening; the last entry of a price list is the price of not doing it at all.
//!
//! Rules and their proofs: Jackson 1955 (earliest due date), Moore 1968 (fewest late), Lawler 1973, the transportation
//! relaxation (classic), De, Ghosh and Wells 1991 (common exponential due date); see each module.

pub mod beyond;
pub mod boat;
pub mod crew;
pub mod due;
pub mod group;
pub mod order;
pub mod passage;
pub mod schedule;
pub mod tail;
pub mod tonight;
pub mod transport;
pub mod words;
pub mod work;

use crate::domain::boat::{BoatId, SiteId};

/// The work on one boat, and what waiting costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Which boat.
    pub boat: BoatId,
    /// Where it stands.
    pub place: SiteId,
    /// Crew minutes, the way there included; above 0.
    pub minutes: u32,
    /// Expected loss if it is ended on day 0, 1, ... and, last, if it is not done: never falling.
    pub price: Vec<f64>,
    /// Last day that keeps the chance of damage at or under the tolerance; `None` beyond the days looked at.
    pub due: Option<usize>,
    /// What is lost if it freezes.
    pub loss: f64,
}

impl Job {
    /// The price of ending on day `day`; of not doing it, from the last day on.
    #[must_use]
    pub fn price_on(&self, day: usize) -> f64 {
        self.price.get(day).or(self.price.last()).copied().unwrap_or(0.0)
    }

    /// The price of not doing it at all.
    #[must_use]
    pub fn price_undone(&self) -> f64 {
        self.price.last().copied().unwrap_or(0.0)
    }

    /// What an hour of work on it saves if it is done today and would else wait until `later`.
    #[must_use]
    pub fn saves_per_hour(&self, later: usize) -> f64 {
        let hours = f64::from(self.minutes.max(1)) / 60.0;
        (self.price_on(later) - self.price_on(0)).max(0.0) / hours
    }
}

/// Days that the index looks ahead: the reason that is shown for a row.
pub const INDEX_DAYS: usize = 5;

/// A count as a number; counts here stay far below 2^52.
pub(crate) fn count(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}
