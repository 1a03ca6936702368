//! The door for tables that people keep: sites, people, boats, lay-up events. All rows of a file or none.

pub mod archive;
pub mod csv;
pub mod dates;
pub mod entry;
mod hidden;
pub mod hours;
pub mod layout;
pub mod problems;
mod remarks;
mod row;
mod sheet;
mod tick;
mod xlsx;
mod amounts;
mod ids;
mod rows;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use crate::domain::boat::fold::engines_of;
use crate::domain::boat::{Boat, BoatId, EventId, LayupEvent, PersonId, SiteId};
use crate::domain::catalogue::Catalogue;
use crate::domain::yard::{Person, Site};
pub use dates::DateOrder;
pub use layout::{Layout, TickColumn};
pub use problems::{ImportProblems, Problem};

/// Rows of one file, and what a person should know about how they were read.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported<T> {
    /// Every row, in the order of the file.
    pub rows: Vec<T>,
    /// Columns that were left aside, guesses that were made.
    pub notes: Vec<String>,
    /// Columns that the file has, by our names.
    pub columns: Vec<String>,
}

/// What is known already, against which a file is checked. What is `None` is not checked.
#[derive(Debug, Clone)]
pub struct Known<'a> {
    /// Circuits, groups and kinds of event.
    pub catalogue: &'a Catalogue,
    /// Places.
    pub sites: Option<BTreeSet<SiteId>>,
    /// People, whom a boat may name as its owner.
    pub people: Option<BTreeSet<PersonId>>,
    /// Boats, and the day before which each cannot have existed.
    pub boats: Option<BTreeMap<BoatId, Option<NaiveDate>>>,
    /// Events of the log, which a correction may point at besides those of its own file.
    pub events: BTreeMap<EventId, Option<BoatId>>,
    /// Initials of the people in the store; empty where none are listed.
    pub initials: BTreeSet<String>,
    /// Later moments are refused.
    pub now: Option<DateTime<Utc>>,
    /// How this yard's own tables differ from ours.
    pub layout: Layout,
    /// Zones of the places, for times that are written without an offset.
    zones: BTreeMap<SiteId, Tz>,
    /// The engines of each boat by name; empty where it has one.
    pub engines: BTreeMap<BoatId, Vec<String>>,
    /// Boats by name and number in small letters, where one has the name alone.
    names: BTreeMap<String, Option<BoatId>>,
    /// Where each boat is listed.
    berths: BTreeMap<BoatId, SiteId>,
}

/// `J. Pepperpot` has the initials `jp`.
fn initials(name: &str) -> Option<String> {
    let letters: String = name.split_whitespace().filter_map(|word| word.chars().next()).collect();
    (letters.chars().count() > 1).then(|| letters.to_lowercase())
}

impl<'a> Known<'a> {
    /// Checks against the catalogue alone.
    #[must_use]
    pub fn catalogue(catalogue: &'a Catalogue) -> Self {
        Self {
            catalogue,
            sites: None,
            people: None,
            boats: None,
            events: BTreeMap::new(),
            initials: BTreeSet::new(),
            now: None,
            layout: Layout::default(),
            zones: BTreeMap::new(),
            engines: BTreeMap::new(),
            names: BTreeMap::new(),
            berths: BTreeMap::new(),
        }
    }

    /// Reads the tables as this yard writes them.
    #[must_use]
    pub fn with_layout(mut self, layout: Layout) -> Self {
        self.layout = layout;
        self
    }

    /// The boat that is meant by its number or its name, letter case aside; else the words as a number, to be refused.
    fn boat(&self, told: &str) -> BoatId {
        let exact = BoatId::from(told);
        if self.boats.as_ref().is_some_and(|boats| boats.contains_key(&exact)) {
            return exact;
        }
        self.names.get(&told.trim().to_lowercase()).cloned().flatten().unwrap_or(exact)
    }

    /// The zone of an entry about this boat or this place.
    fn zone(&self, boat: Option<&BoatId>, site: Option<&SiteId>) -> Option<Tz> {
        let site = site.or_else(|| self.berths.get(boat?));
        site.and_then(|site| self.zones.get(site).copied()).or(self.layout.zone)
    }

    /// Also refuses places that are not among these.
    #[must_use]
    pub fn with_sites(mut self, sites: &[Site]) -> Self {
        self.zones = sites.iter().map(|site| (site.id.clone(), site.time_zone)).collect();
        self.sites = Some(sites.iter().map(|site| site.id.clone()).collect());
        self
    }

    /// Also refuses owners who are not among these.
    #[must_use]
    pub fn with_people(mut self, people: &[Person]) -> Self {
        self.people = Some(people.iter().map(|person| person.id.clone()).collect());
        self.initials = people.iter().filter_map(|person| initials(&person.name)).collect();
        self
    }

    /// Also refuses boats that are not among these, and events before they existed.
    #[must_use]
    pub fn with_boats(mut self, boats: &[Boat]) -> Self {
        self.berths = boats.iter().map(|boat| (boat.id.clone(), boat.site.clone())).collect();
        for boat in boats {
            for name in [boat.id.as_str(), boat.name.as_str()] {
                let same = |known: &mut Option<BoatId>| {
                    if known.as_ref() != Some(&boat.id) {
                        *known = None;
                    }
                };
                let name = name.trim().to_lowercase();
                self.names.entry(name).and_modify(same).or_insert_with(|| Some(boat.id.clone()));
            }
        }
        self.engines = boats.iter().map(|boat| (boat.id.clone(), engines_of(boat))).collect();
        self.boats =
            Some(boats.iter().map(|boat| (boat.id.clone(), boat.existed_from())).collect());
        self
    }

    /// Corrections may also point at these events of the log.
    #[must_use]
    pub fn with_events<'e>(mut self, log: impl IntoIterator<Item = &'e LayupEvent>) -> Self {
        self.events.extend(log.into_iter().map(|event| (event.id.clone(), event.boat.clone())));
        self
    }

    /// Also refuses what lies after `now`.
    #[must_use]
    pub fn with_now(mut self, now: DateTime<Utc>) -> Self {
        self.now = Some(now);
        self
    }
}
