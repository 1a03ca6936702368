//! Whether a heated place is heated, by what the record of its boats says.

use chrono::{DateTime, Utc};

use crate::domain::boat::{BoatState, SiteId};

/// The heat of a place, with power, as far as the boats there say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Heat {
    /// Is it on? Not said is off.
    pub on: bool,
    /// Since when it is off, where that is said.
    pub off_since: Option<DateTime<Utc>>,
}

impl Heat {
    /// What most of the boats of `site` say: what is entered for the place reaches them all, and one boat's own heater heats
    /// no shed. Where as many say that it is off, it is.
    #[must_use]
    pub fn of<'a>(states: impl Iterator<Item = &'a BoatState>, site: &SiteId) -> Self {
        let said = states.filter(|state| state.site == *site).filter_map(|state| {
            let heat = state.mitigations.iter().filter(|one| one.kind == "heat");
            heat.max_by_key(|one| one.since)
        });
        let (on, off): (Vec<_>, Vec<_>) = said.partition(|one| one.on);
        let is_on = on.len() > off.len();
        let off_since = off.iter().map(|one| one.since).max().filter(|_| !is_on);
        Self { on: is_on, off_since }
    }
}
