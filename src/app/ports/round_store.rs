//! The one transaction in which a round lands: the alerts, why, and the letters that tell of it.

use chrono::{DateTime, Utc};

use crate::app::ports::{
    AlertRecord, Filling, LoopStatus, OutboxRow, StoreError, TransitionRow, Unsendable,
};
use crate::domain::boat::Exposure;

/// Everything that a round decided.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RoundCommit {
    /// The generation that the decision was made on ([`RoundStore::generation`] read *before* the state); `None` skips
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

/// Where rounds land: the only write over several of the stores.
pub trait RoundStore: Send + Sync {
    /// How many rounds have been committed.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn generation(&self) -> Result<i64, StoreError>;

    /// Lands a round: all of it, or nothing.
    ///
    /// # Errors
    /// [`StoreError::Overtaken`] when another round landed since [`RoundCommit::based_on`] was read: read the state
    /// again and decide again. Otherwise whatever the database answers.
    fn commit_round(&self, round: &RoundCommit) -> Result<Committed, StoreError>;

    /// A number that changes when another program has written to the store.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn others_wrote(&self) -> Result<i64, StoreError>;
}
