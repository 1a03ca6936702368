//! Memory of blends that have been slush: the weather that made them so is forgotten before spring, their weak layer is not.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use rusqlite::{Transaction, params};

use super::Store;
use super::column::Millis;
use super::error::Doing as _;
use crate::app::ports::{Filling, SlushMemory, StoreError};

impl SlushMemory for Store {
    fn separated(&self, known_at: DateTime<Utc>) -> Result<BTreeSet<Filling>, StoreError> {
        let doing = "reading which blends have been slush";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT boat, circuit, instance, since_ms FROM separated WHERE seen_ms <= ?1",
                )
                .context(doing)?;
            let rows = statement
                .query_map([Millis(known_at)], |row| {
                    let text = |index| row.get::<_, String>(index);
                    let instance = text(2)?;
                    Ok(Filling {
                        boat: text(0)?.as_str().into(),
                        circuit: text(1)?.as_str().into(),
                        instance: (!instance.is_empty()).then_some(instance),
                        since: row.get::<_, Millis>(3)?.0,
                    })
                })
                .context(doing)?;
            rows.map(|row| row.context(doing)).collect()
        })
    }
}

/// Keeps which blends were seen to have been slush, and when; what is known already stays as it is.
pub(super) fn put_separated(
    tx: &Transaction<'_>,
    seen: &[(Filling, DateTime<Utc>)],
) -> Result<(), StoreError> {
    let doing = "keeping which blends have been slush";
    let mut put = tx
        .prepare_cached(
            "INSERT INTO separated (boat, circuit, instance, since_ms, seen_ms)
             VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
        )
        .context(doing)?;
    for (filling, seen_at) in seen {
        put.execute(params![
            filling.boat.as_str(),
            filling.circuit.as_str(),
            filling.instance.as_deref().unwrap_or_default(),
            Millis(filling.since),
            Millis(*seen_at),
        ])
        .context(doing)?;
    }
    Ok(())
}
