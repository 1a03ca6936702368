//! Ids for entries that come without.

use std::collections::HashMap;

use chrono::{DateTime, FixedOffset};
use ring::digest::{SHA256, digest};

use crate::domain::boat::{BoatId, EventId, Precision, SiteId};

/// Ids for rows that have none: from what the row is about, so that the same row gets the same id again.
#[derive(Debug, Default)]
pub(super) struct Ids(HashMap<String, u32>);

impl Ids {
    pub(super) fn of_row(
        &mut self,
        (boat, site): (Option<&BoatId>, Option<&SiteId>),
        kind: &str,
        (happened, precision): (DateTime<FixedOffset>, Precision),
    ) -> EventId {
        // Not by which parts or which drain: a row of which that was changed is the same row. Nor by how boat and date are
        // written.
        let about =
            format!("{}|{}", boat.map_or("", BoatId::as_str), site.map_or("", SiteId::as_str));
        let when = match precision {
            Precision::Day => happened.date_naive().to_string(),
            Precision::Minute => happened.to_utc().format("%Y-%m-%dT%H:%MZ").to_string(),
        };
        self.id(&format!("{about}|{when}|{kind}"))
    }

    /// An id for what is written about; the second of one table with the same words gets another.
    pub(super) fn id(&mut self, about: &str) -> EventId {
        let count = self.0.entry(about.to_owned()).or_insert(0);
        *count += 1;
        let hash = digest(&SHA256, format!("{about}|{count}").as_bytes());
        let tail: String = hash.as_ref().iter().take(6).map(|byte| format!("{byte:02x}")).collect();
        EventId::from(format!("S{tail}"))
    }
}
