//! Memory of blends that have been slush: the weather that made them so is forgotten before spring, their weak layer is not.

use std::collections::BTreeSet;

use chrono::{DateTime, SubsecRound as _, Utc};
use rusqlite::{Transaction, params};

use super::Store;
use super::column::Millis;
use super::error::{Doing as _, StoreError};
use crate::domain::boat::{BoatId, BoatState, CircuitId, CircuitState};

/// A blend in a circuit of a boat, as it was filled in at `since`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Filling {
    /// Which boat.
    pub boat: BoatId,
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// When it was filled in.
    pub since: DateTime<Utc>,
}

impl Filling {
    /// What is in a circuit; `None` where nobody knows since when.
    #[must_use]
    pub fn of(state: &BoatState, circuit: &CircuitState) -> Option<Self> {
        let (boat, instance) = (state.boat.clone(), circuit.instance.clone());
        // As exactly as it is kept. A reading later on leaves it: one outlet shows one layer.
        let since = circuit.since?.trunc_subsecs(3);
        Some(Self { boat, circuit: circuit.circuit.clone(), instance, since })
    }

    /// The same of the whole circuit: what is told apart by outlets since then was one filling.
    #[must_use]
    pub fn of_the_whole(&self) -> Self {
        Self { instance: None, ..self.clone() }
    }
}

impl Store {
    /// The blends that were known at `known_at` to have been slush.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn separated(&self, known_at: DateTime<Utc>) -> Result<BTreeSet<Filling>, StoreError> {
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
