//! The lay-up log: append-only, chained, with its free texts apart.

use chrono::{DateTime, Utc};

use crate::app::ports::StoreError;
use crate::domain::boat::{BoatId, Erased, EventId, LayupEvent};

/// What appending did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Appended {
    /// Entries that are new.
    pub added: usize,
    /// Entries that stood in the log already, with the same content.
    pub already_there: usize,
}

/// One entry with our own clock beside the ones that people stated.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Place in the log, from 1.
    pub seq: i64,
    /// When it entered this store.
    pub entered_at: DateTime<Utc>,
    /// The event; erased texts are `None`.
    pub event: LayupEvent,
}

/// 128 random bits that hide one free text.
pub type Salt = [u8; 16];

/// What checking the log found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogReport {
    /// Hash of the newest row asked about; 64 zeros where there is none.
    pub head: String,
    /// Rows asked about.
    pub rows: usize,
    /// The first row of the whole log that does not hold.
    pub first_broken: Option<Broken>,
}

/// A row that does not hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broken {
    /// Place in the log.
    pub seq: i64,
    /// The event.
    pub event: String,
    /// What is wrong, in words.
    pub why: String,
}

/// The lay-up log.
pub trait EventLog: Send + Sync {
    /// Appends events in the order given, or none of them. An id that is there with the same content is passed over.
    ///
    /// `salt` is called once for every free text and must give 128 unguessable bits.
    ///
    /// # Errors
    /// [`StoreError::EventDiffers`] names an id that stands in the log with other content; nothing was appended.
    fn append_events(
        &self,
        events: &[LayupEvent],
        entered_at: DateTime<Utc>,
        salt: &mut dyn FnMut() -> Salt,
    ) -> Result<Appended, StoreError>;

    /// The whole log, in the order in which it was entered.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn all_events(&self) -> Result<Vec<LayupEvent>, StoreError>;

    /// The whole log with our own times of entry.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn log_entries(&self) -> Result<Vec<Entry>, StoreError>;

    /// The free texts that were erased: id of the entry and name of the field.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn erased_texts(&self) -> Result<Erased, StoreError>;

    /// The hash of the newest entry, which stands for the whole log; 64 zeros for an empty one.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn log_head(&self) -> Result<String, StoreError>;

    /// Does a row of the log have this hash?
    ///
    /// # Errors
    /// Whatever the database answers.
    fn log_has(&self, hash: &str) -> Result<bool, StoreError>;

    /// Recomputes the chain from the first entry. With a boat, rows and head are that boat's; the chain is checked
    /// whole either way, since a gap elsewhere would unprove this boat's rows as well.
    ///
    /// # Errors
    /// Whatever the database answers; a broken chain is a report, not an error.
    fn verify_log(&self, boat: Option<&BoatId>) -> Result<LogReport, StoreError>;

    /// Erases one free text of an entry (`note`, `who` or `point`) with its salt; the chain still holds.
    ///
    /// # Errors
    /// [`StoreError::Refused`] when there is no such text.
    fn erase_text(
        &self,
        event: &EventId,
        field: &str,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError>;
}
