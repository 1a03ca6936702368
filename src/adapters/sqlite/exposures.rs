//! Exposure memory: spells in which a circuit stood past its own limit. A spell grows while it lasts; none is removed.

use rusqlite::{Transaction, params};

use super::Store;
use super::column::{Millis, from_json, to_json};
use super::error::Doing as _;
use crate::app::ports::{ExposureMemory, StoreError};
use crate::domain::boat::{BoatId, Exposure};

impl ExposureMemory for Store {
    fn exposures(&self, boat: Option<&BoatId>) -> Result<Vec<Exposure>, StoreError> {
        let doing = "reading what stood past its limit";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT document FROM exposure WHERE ?1 IS NULL OR boat = ?1
                     ORDER BY from_ms, boat, circuit, instance",
                )
                .context(doing)?;
            let rows = statement
                .query_map([boat.map(BoatId::as_str)], |row| row.get::<_, String>(0))
                .context(doing)?;
            rows.map(|document| from_json(&document.context(doing)?, doing)).collect()
        })
    }
}

/// Puts spells: a new one is added, one with the same beginning is replaced by its longer self.
pub(super) fn put_exposures(
    tx: &Transaction<'_>,
    exposures: &[Exposure],
) -> Result<(), StoreError> {
    let doing = "keeping what stood past its limit";
    let mut put = tx
        .prepare_cached(
            "INSERT INTO exposure (boat, circuit, instance, from_ms, to_ms, document)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)
             ON CONFLICT (boat, circuit, instance, from_ms) DO UPDATE SET to_ms = ?5, document = ?6
             WHERE to_ms <= ?5",
        )
        .context(doing)?;
    for spell in exposures {
        put.execute(params![
            spell.boat.as_str(),
            spell.circuit.as_str(),
            spell.instance.as_deref().unwrap_or_default(),
            Millis(spell.from),
            Millis(spell.to),
            to_json(spell, doing)?,
        ])
        .context(doing)?;
    }
    Ok(())
}
