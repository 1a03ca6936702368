//! Readings of stations near the places, as they were had.

use chrono::{DateTime, Utc};
use rusqlite::params;

use super::Store;
use super::column::{Millis, from_json, to_json};
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{ObservationStore, StoreError};
use crate::domain::boat::SiteId;
use crate::domain::weather::measured::Measured;

impl ObservationStore for Store {
    fn put_observation(
        &self,
        site: &SiteId,
        reading: &Measured,
        fetched: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "keeping a reading";
        let document = to_json(reading, doing)?;
        self.write(doing, |tx| {
            let added = tx
                .change(
                    "INSERT INTO observation (site, station, at_ms, fetched_ms, document)
                     VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
                    params![
                        site.as_str(),
                        reading.station,
                        Millis(reading.step.time),
                        Millis(fetched),
                        document
                    ],
                )
                .context(doing)?;
            Ok(added > 0)
        })
    }

    fn observations(
        &self,
        site: &SiteId,
        (from, until): (DateTime<Utc>, DateTime<Utc>),
        known_at: DateTime<Utc>,
    ) -> Result<Vec<Measured>, StoreError> {
        let doing = "reading what was measured";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT document FROM observation WHERE site = ?1 AND at_ms >= ?2 AND at_ms < ?3
                     AND fetched_ms <= ?4 ORDER BY at_ms, station",
                )
                .context(doing)?;
            let rows = statement
                .query_map(
                    params![site.as_str(), Millis(from), Millis(until), Millis(known_at)],
                    |row| row.get::<_, String>(0),
                )
                .context(doing)?;
            rows.map(|document| from_json(&document.context(doing)?, doing)).collect()
        })
    }
}
