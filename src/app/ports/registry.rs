//! The yard as last imported, what is remembered of its boats, and how the loops went.

use std::collections::BTreeSet;

use chrono::{DateTime, SubsecRound as _, Utc};

use crate::app::ports::StoreError;
use crate::domain::boat::{Boat, BoatId, BoatState, CircuitId, CircuitState, Exposure};
use crate::domain::yard::{Person, Site};

/// What an import of the yard changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct YardCounts {
    /// Rows that were not there.
    pub added: usize,
    /// Rows that were there with other content.
    pub changed: usize,
    /// Rows that were there just so.
    pub unchanged: usize,
}

/// How a loop's last pass went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoopStatus {
    /// The loop: `fetch`, `judge`, `deliver`, `housekeep`.
    pub name: String,
    /// Did the last pass do its work?
    pub ok: bool,
    /// When it ended.
    pub at: DateTime<Utc>,
    /// When one last did; filled in by the store.
    pub last_ok: Option<DateTime<Utc>>,
    /// One line for people.
    pub text: String,
}

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

/// Places, people and boats, and what is kept of them.
pub trait Registry: RunLog + ExposureMemory + SlushMemory {
    /// Puts places, people and boats: new ones are added, known ones replaced, none removed; all or nothing.
    ///
    /// # Errors
    /// Whatever the database answers; nothing was changed then.
    fn put_yard(
        &self,
        sites: &[Site],
        people: &[Person],
        boats: &[Boat],
    ) -> Result<YardCounts, StoreError>;

    /// All places, by id.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn sites(&self) -> Result<Vec<Site>, StoreError>;

    /// All people, by id.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn people(&self) -> Result<Vec<Person>, StoreError>;

    /// All boats, by id.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn boats(&self) -> Result<Vec<Boat>, StoreError>;

    /// One boat, if the yard has it.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn boat(&self, id: &BoatId) -> Result<Option<Boat>, StoreError>;
}

/// How the loops went, and when each thing that goes by the clock last ran.
pub trait RunLog: Send + Sync {
    /// Notes how a loop's pass went.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_status(
        &self,
        name: &str,
        ok: bool,
        at: DateTime<Utc>,
        text: &str,
    ) -> Result<(), StoreError>;

    /// Notes that something that goes by the clock has run.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_run(&self, name: &str, at: DateTime<Utc>) -> Result<(), StoreError>;

    /// How all loops went, by name.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn statuses(&self) -> Result<Vec<LoopStatus>, StoreError>;

    /// When something that goes by the clock last ran.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn last_run(&self, name: &str) -> Result<Option<DateTime<Utc>>, StoreError>;

    /// Notes that a daemon begins to run. The answer is when the one before it began, if that one did not end cleanly.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mark_running(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, StoreError>;

    /// Notes that the daemon ended cleanly.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mark_stopped(&self) -> Result<(), StoreError>;
}

/// Spells in which circuits stood past their own limit. A spell grows while it lasts; none is removed.
pub trait ExposureMemory: Send + Sync {
    /// The spells of a boat, or of all, the oldest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn exposures(&self, boat: Option<&BoatId>) -> Result<Vec<Exposure>, StoreError>;
}

/// Blends that have been slush: the weather that made them so is forgotten before spring, their weak layer is not.
pub trait SlushMemory: Send + Sync {
    /// The blends that were known at `known_at` to have been slush.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn separated(&self, known_at: DateTime<Utc>) -> Result<BTreeSet<Filling>, StoreError>;
}
