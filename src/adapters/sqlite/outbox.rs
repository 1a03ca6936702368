//! The outbox: letters on their way out, each under a lease while somebody is sending it.
//!
//! Life of a row: `queued`, then `leased` by a sender, then `sent`, or `deferred` (due again later), or `failed`.
//! Before anything is leased, rows that nobody should read any more leave the queue: `expired` ones, and those
//! `superseded` by a newer letter of the same thread to the same person. A closing letter is never superseded.
//!
//! A letter is lost at no step. It goes out twice only when the sender stopped between the server's acceptance and
//! [`Store::mark_sent`]: the lease runs out and the same bytes with the same Message-ID go again.

pub mod count;
mod held;
pub mod lease;
mod marks;
mod undelivered;

use chrono::{DateTime, Utc};
use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::Store;
use super::column::Millis;
use super::error::{Doing as _, StoreError};
use crate::adapters::sqlite::cached::Cached as _;
use crate::domain::boat::PersonId;

pub use count::{MessageCount, OutboxSummary, Waiting};
pub use held::{Held, HeldBy, Rewritten};
pub use lease::{Due, Fault, Plainer, Wait};
pub(super) use undelivered::insert_unsendable;
pub use undelivered::{Cause, Patience, Undelivered, Unsendable};

/// The way out of short texts, and their kind: they leave through the same relay or files as the letters, in a row of their
/// own beside the letter's.
pub const TEXTS: &str = "text";

/// The way out of signed notes to other programs, and their kind: each to an endpoint of the settings, which stands where letters
/// have their reader.
pub const WEBHOOKS: &str = "webhook";

/// A letter as it enters the outbox. Unique by alert, revision, recipient, channel and step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutboxRow {
    /// The alert, or what else it is about: `worklist:QUAY:2023-02-02`.
    pub alert: String,
    /// Revision of the alert.
    pub revision: u32,
    /// The reader.
    pub recipient: PersonId,
    /// The way out: `smtp`, `maildir`.
    pub channel: String,
    /// Step of the escalation, from 0.
    pub step: u32,
    /// Kind of letter: `freeze`, `blind`, `worklist` ...
    pub kind: String,
    /// Tells somebody who was told of a danger that it ended: never superseded.
    pub closing: bool,
    /// Goes before others that are due.
    pub urgent: bool,
    /// Letters of one thread to one person over one channel replace each other: the one of the higher revision is
    /// newer and complete by itself. Mostly the id of the alert.
    pub thread: String,
    /// Message-ID without angle brackets: the same at every attempt.
    pub message_id: String,
    /// The reader's address.
    pub address: String,
    /// Where bounces of this letter go.
    pub return_path: String,
    /// For lists; the header stands in the bytes.
    pub subject: String,
    /// The finished message: the same bytes at every attempt.
    pub bytes: Vec<u8>,
    /// When it was decided.
    pub queued_at: DateTime<Utc>,
    /// Not before.
    pub due_at: DateTime<Utc>,
    /// After this nobody needs it any more.
    pub expires_at: DateTime<Utc>,
    /// It waits for the yard to look at it first; `due_at` is not earlier.
    pub held: Option<Held>,
}

/// Where a letter stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum OutboxState {
    /// Not tried yet.
    Queued,
    /// Somebody is sending it.
    Leased,
    /// Accepted by the server.
    Sent,
    /// Tried, due again later.
    Deferred,
    /// Refused for good.
    Failed,
    /// Nobody needs it any more.
    Expired,
    /// A newer letter took its place.
    Superseded,
}

impl OutboxState {
    /// As it stands in the table.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Queued => "queued",
            Self::Leased => "leased",
            Self::Sent => "sent",
            Self::Deferred => "deferred",
            Self::Failed => "failed",
            Self::Expired => "expired",
            Self::Superseded => "superseded",
        }
    }

    fn parse(text: &str) -> Option<Self> {
        [
            Self::Queued,
            Self::Leased,
            Self::Sent,
            Self::Deferred,
            Self::Failed,
            Self::Expired,
            Self::Superseded,
        ]
        .into_iter()
        .find(|state| state.as_str() == text)
    }
}

/// A letter with everything that happened to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Posted {
    /// Its number in the outbox.
    pub id: i64,
    /// The letter; `due_at` is the next attempt.
    pub row: OutboxRow,
    /// Where it stands.
    pub state: OutboxState,
    /// How often somebody began to send it.
    pub attempts: u32,
    /// When it left the queue.
    pub done_at: Option<DateTime<Utc>>,
    /// Why it was refused: `address`, `policy`, `size`, `other`.
    pub fault: Option<String>,
    /// The server's last words, or ours.
    pub answer: Option<String>,
    /// How often nobody could tell whether it had been taken.
    pub unknown_times: u32,
}

const COLUMNS: &str = "id, alert_id, revision, recipient, channel, step, kind, closing, urgent, thread, message_id,
    address, return_path, subject, bytes, queued_ms, due_ms, expires_ms, state, attempts, done_ms, fault, answer,
    held_until_ms, held_most_ms, held_free_ms, held_by, held_why, held_draft, unknown_times";

impl Store {
    /// Letters that wait and that nobody is sending.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn waiting_letters(&self) -> Result<Vec<Posted>, StoreError> {
        let doing = "reading the letters that wait";
        let statement = format!(
            "SELECT {COLUMNS} FROM outbox WHERE state IN ('queued', 'deferred') ORDER BY id"
        );
        self.read(doing, |connection| {
            let mut statement = connection.prepare_cached(&statement).context(doing)?;
            let rows = statement.query_map([], posted).context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }

    /// The letter whose Message-ID begins with `token`, before the `@`.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn letter_by_token(&self, token: &str) -> Result<Option<Posted>, StoreError> {
        let doing = "looking for a letter";
        let statement = format!(
            "SELECT {COLUMNS} FROM outbox
             WHERE substr(message_id, 1, instr(message_id, '@') - 1) = ?1 ORDER BY id DESC LIMIT 1"
        );
        self.read(doing, |connection| {
            connection.one_row(&statement, [token], posted).optional().context(doing)
        })
    }

    /// How many things, the names of which begin so, letters were queued about since `since`.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn letters_about(&self, start: &str, since: DateTime<Utc>) -> Result<u32, StoreError> {
        let doing = "counting letters";
        self.read(doing, |connection| {
            let query = "SELECT count(DISTINCT alert_id) FROM outbox
                 WHERE substr(alert_id, 1, length(?1)) = ?1 AND queued_ms > ?2";
            connection
                .one_row(query, params![start, Millis(since)], |row| row.get(0))
                .context(doing)
        })
    }

    /// All letters, or those of one alert, in the order in which they were queued.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn letters(&self, alert: Option<&str>) -> Result<Vec<Posted>, StoreError> {
        let doing = "reading the outbox";
        let statement =
            format!("SELECT {COLUMNS} FROM outbox WHERE ?1 IS NULL OR alert_id = ?1 ORDER BY id");
        self.read(doing, |connection| {
            let mut statement = connection.prepare_cached(&statement).context(doing)?;
            let rows = statement.query_map([alert], posted).context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }
}

/// Puts a letter into the outbox unless one stands there under its key. Returns whether it is new.
pub(super) fn insert_letter(tx: &Transaction<'_>, row: &OutboxRow) -> Result<bool, StoreError> {
    let doing = format!("queueing a letter of {} to {}", row.alert, row.recipient);
    tx.change(
        "INSERT INTO outbox (alert_id, revision, recipient, channel, step, kind, closing, urgent, thread,
            message_id, address, return_path, subject, bytes, queued_ms, due_ms, expires_ms,
            held_until_ms, held_most_ms, held_free_ms, held_draft)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21)
         ON CONFLICT (alert_id, revision, recipient, channel, step) DO NOTHING",
        params![
            row.alert,
            row.revision,
            row.recipient.as_str(),
            row.channel,
            row.step,
            row.kind,
            row.closing,
            row.urgent,
            row.thread,
            row.message_id,
            row.address,
            row.return_path,
            row.subject,
            row.bytes,
            Millis(row.queued_at),
            Millis(row.due_at),
            Millis(row.expires_at),
            row.held.as_ref().map(|held| Millis(held.until)),
            row.held.as_ref().map(|held| Millis(held.most)),
            row.held.as_ref().map(|held| Millis(held.free)),
            row.held.as_ref().map(|held| held.draft.as_str()),
        ],
    )
    .context(&doing)
    .map(|rows| rows > 0)
}

fn posted(row: &Row<'_>) -> rusqlite::Result<Posted> {
    let state: String = row.get(18)?;
    let state = OutboxState::parse(&state)
        .ok_or_else(|| rusqlite::Error::InvalidColumnName(format!("state '{state}'")))?;
    Ok(Posted {
        id: row.get(0)?,
        row: OutboxRow {
            alert: row.get(1)?,
            revision: row.get(2)?,
            recipient: row.get::<_, String>(3)?.into(),
            channel: row.get(4)?,
            step: row.get(5)?,
            kind: row.get(6)?,
            closing: row.get(7)?,
            urgent: row.get(8)?,
            thread: row.get(9)?,
            message_id: row.get(10)?,
            address: row.get(11)?,
            return_path: row.get(12)?,
            subject: row.get(13)?,
            bytes: row.get(14)?,
            queued_at: row.get::<_, Millis>(15)?.0,
            due_at: row.get::<_, Millis>(16)?.0,
            expires_at: row.get::<_, Millis>(17)?.0,
            held: held::of_row(row)?,
        },
        state,
        attempts: row.get(19)?,
        done_at: row.get::<_, Option<Millis>>(20)?.map(|Millis(at)| at),
        fault: row.get(21)?,
        answer: row.get(22)?,
        unknown_times: row.get(29)?,
    })
}
