//! The yard as it is listed.

use std::collections::BTreeMap;

use chrono_tz::Tz;

use crate::domain::boat::{Boat, PersonId, SiteId};
use crate::domain::season::Hemisphere;
use crate::domain::yard::{Person, Site};

/// Places, people and boats as listed.
#[derive(Debug, Clone)]
pub struct YardBook {
    /// Places by id.
    pub sites: BTreeMap<SiteId, Site>,
    /// People by id.
    pub people: BTreeMap<PersonId, Person>,
    /// Boats in the order of their ids.
    pub boats: Vec<Boat>,
}

impl YardBook {
    /// The zone of a place, UTC where it is not listed.
    #[must_use]
    pub fn zone(&self, site: &SiteId) -> Tz {
        self.sites.get(site).map_or(Tz::UTC, |site| site.time_zone)
    }

    /// When the winters of a place come; as in the north where it is not listed.
    #[must_use]
    pub fn hemisphere(&self, site: &SiteId) -> Hemisphere {
        self.sites.get(site).map_or(Hemisphere::Northern, Site::hemisphere)
    }
}
