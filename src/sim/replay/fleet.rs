//! Who and what is played.

use std::collections::BTreeMap;

use crate::domain::boat::{Boat, LayupEvent, SiteId};
use crate::domain::yard::{Person, Site};

/// Who and what is played.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// Places by id.
    pub sites: BTreeMap<SiteId, Site>,
    /// People.
    pub people: Vec<Person>,
    /// Boats, each with the events that concern it, those of its place too.
    pub boats: Vec<(Boat, Vec<LayupEvent>)>,
}
