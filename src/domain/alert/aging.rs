//! A forecast that is older than it should be is said once to the operator and to whoever stands on our advice there.

use chrono::{DateTime, Utc};

use crate::domain::boat::{PersonId, SiteId};

/// A place whose forecast grows old, for one reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgedPlace {
    /// Which.
    pub site: SiteId,
    /// When the forecast was issued.
    pub issued_at: Option<DateTime<Utc>>,
    /// When it counts as none.
    pub blind_from: Option<DateTime<Utc>>,
    /// Names of the boats about which this reader stands on our advice.
    pub boats: Vec<String>,
    /// The reader has been told of the age of this very issue.
    pub told: bool,
}

/// One reader, and the places whose forecasts grow old.
#[derive(Debug, Clone, Copy)]
pub struct Aging<'a> {
    /// Who.
    pub person: &'a PersonId,
    /// The places that concern them.
    pub places: &'a [AgedPlace],
    /// The round.
    pub at: DateTime<Utc>,
}

/// The name under which the store notes that somebody has been told of the age of an issue.
#[must_use]
pub fn name(person: &PersonId, site: &SiteId, issued_at: Option<DateTime<Utc>>) -> String {
    let stamp = issued_at.map_or(0, |at| at.timestamp());
    format!("aging:{person}:{site}:{stamp}")
}
