//! The yard as it is listed.

use std::collections::BTreeMap;

use chrono_tz::Tz;

use crate::app::ports::{Registry, StoreError};
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
    /// The yard as it is listed now.
    ///
    /// # Errors
    /// Whatever the store answers.
    pub fn read(store: &dyn Registry) -> Result<Self, StoreError> {
        let keyed = |sites: Vec<Site>| {
            let listed = sites.clone();
            let known = sites.into_iter().map(|site| site.with_water_of(&listed));
            known.map(|site| (site.id.clone(), site)).collect()
        };
        Ok(Self {
            sites: keyed(store.sites()?),
            people: store.people()?.into_iter().map(|p| (p.id.clone(), p)).collect(),
            boats: store.boats()?,
        })
    }

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
