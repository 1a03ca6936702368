//! The door for tables that people keep: sites, people, boats, lay-up events. All rows of a file or none.

pub mod archive;
pub mod csv;
pub mod problems;
mod row;
mod sheet;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};

use crate::domain::boat::{Boat, BoatId, EventId, SiteId};
use crate::domain::catalogue::Catalogue;
use crate::domain::yard::Site;
pub use problems::{ImportProblems, Problem};

/// Rows of one file, and what a person should know about how they were read.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported<T> {
    /// Every row, in the order of the file.
    pub rows: Vec<T>,
    /// Columns that were left aside, guesses that were made.
    pub notes: Vec<String>,
}

/// What is known already, against which a file is checked. What is `None` is not checked.
#[derive(Debug, Clone)]
pub struct Known<'a> {
    /// Circuits, groups and kinds of event.
    pub catalogue: &'a Catalogue,
    /// Places.
    pub sites: Option<BTreeSet<SiteId>>,
    /// Boats, and the day before which each cannot have existed.
    pub boats: Option<BTreeMap<BoatId, Option<NaiveDate>>>,
    /// Events of the log, which a correction may point at besides those of its own file.
    pub events: BTreeSet<EventId>,
    /// Later moments are refused.
    pub now: Option<DateTime<Utc>>,
}

impl<'a> Known<'a> {
    /// Checks against the catalogue alone.
    #[must_use]
    pub const fn catalogue(catalogue: &'a Catalogue) -> Self {
        Self { catalogue, sites: None, boats: None, events: BTreeSet::new(), now: None }
    }

    /// Also refuses places that are not among these.
    #[must_use]
    pub fn with_sites(mut self, sites: &[Site]) -> Self {
        self.sites = Some(sites.iter().map(|site| site.id.clone()).collect());
        self
    }

    /// Also refuses boats that are not among these, and events before they existed.
    #[must_use]
    pub fn with_boats(mut self, boats: &[Boat]) -> Self {
        self.boats =
            Some(boats.iter().map(|boat| (boat.id.clone(), boat.existed_from())).collect());
        self
    }

    /// Corrections may also point at these events of the log.
    #[must_use]
    pub fn with_events(mut self, events: impl IntoIterator<Item = EventId>) -> Self {
        self.events.extend(events);
        self
    }

    /// Also refuses what lies after `now`.
    #[must_use]
    pub const fn with_now(mut self, now: DateTime<Utc>) -> Self {
        self.now = Some(now);
        self
    }
}
