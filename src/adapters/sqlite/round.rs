//! The one transaction in which a round lands: the alerts, why, and the letters that tell of it.

use crate::adapters::sqlite::cached::Cached as _;
use chrono::{DateTime, Utc};

use super::Store;
use super::alerts::{AlertRecord, TransitionRow, put_alert, put_transition};
use super::error::{Doing as _, StoreError};
use super::exposures::put_exposures;
use super::outbox::{OutboxRow, Unsendable, insert_letter, insert_unsendable};
use super::separated::{Filling, put_separated};
use super::status::{LoopStatus, put_last_run, put_status};
use crate::domain::boat::Exposure;

/// Everything that a round decided.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RoundCommit {
    /// The generation that the decision was made on ([`Store::generation`] read *before* the state); `None` skips
    /// the check.
    pub based_on: Option<i64>,
    /// Alerts as they stand after it.
    pub alerts: Vec<AlertRecord>,
    /// What changed, and on what ground.
    pub transitions: Vec<TransitionRow>,
    /// Letters to send.
    pub letters: Vec<OutboxRow>,
    /// Letters that were decided and cannot go.
    pub unsendable: Vec<Unsendable>,
    /// Spells in which circuits stood past their limit, as they stand now.
    pub exposures: Vec<Exposure>,
    /// Blends that have been slush, and when that was seen.
    pub separated: Vec<(Filling, DateTime<Utc>)>,
    /// Status rows of the loops.
    pub statuses: Vec<LoopStatus>,
    /// Things that go by the clock and have now run, such as a worklist: with their letters, or not at all.
    pub runs: Vec<(String, DateTime<Utc>)>,
}

/// What landed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Committed {
    /// The generation after it.
    pub generation: i64,
    /// Letters that are new in the outbox.
    pub queued: usize,
    /// Letters that stood there already under the same key, and were left as they are.
    pub already_queued: usize,
}

impl Store {
    /// How many rounds have been committed.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn generation(&self) -> Result<i64, StoreError> {
        let doing = "reading the generation";
        self.read(doing, |connection| {
            connection.one_row("SELECT number FROM generation", [], |row| row.get(0)).context(doing)
        })
    }

    /// Lands a round: all of it, or nothing.
    ///
    /// # Errors
    /// [`StoreError::Overtaken`] when another round landed since [`RoundCommit::based_on`] was read: read the state
    /// again and decide again. Otherwise whatever the database answers.
    pub fn commit_round(&self, round: &RoundCommit) -> Result<Committed, StoreError> {
        let doing = "committing a round";
        self.write(doing, |tx| {
            let generation: i64 = tx
                .one_row("UPDATE generation SET number = number + 1 RETURNING number", [], |row| {
                    row.get(0)
                })
                .context(doing)?;
            if round.based_on.is_some_and(|base| base + 1 != generation) {
                return Err(StoreError::Overtaken);
            }
            for alert in &round.alerts {
                put_alert(tx, alert)?;
            }
            for transition in &round.transitions {
                put_transition(tx, transition)?;
            }
            let mut queued = 0;
            for letter in &round.letters {
                queued += usize::from(insert_letter(tx, letter)?);
            }
            for letter in &round.unsendable {
                insert_unsendable(tx, letter)?;
            }
            put_exposures(tx, &round.exposures)?;
            put_separated(tx, &round.separated)?;
            for status in &round.statuses {
                put_status(tx, status)?;
            }
            for (name, at) in &round.runs {
                put_last_run(tx, name, *at)?;
            }
            Ok(Committed { generation, queued, already_queued: round.letters.len() - queued })
        })
    }
}
