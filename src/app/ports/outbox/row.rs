//! A letter in the outbox: what it is, and where it stands.

use chrono::{DateTime, Utc};

use crate::domain::boat::PersonId;

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

/// How a letter waits for the yard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// It goes by itself then.
    pub until: DateTime<Utc>,
    /// The yard can hold it until then at most.
    pub most: DateTime<Utc>,
    /// When it could have gone without the yard: quiet hours.
    pub free: DateTime<Utc>,
    /// Who has said something about it, and what.
    pub by: Option<HeldBy>,
    /// What it was written from, as JSON: so that the yard can add a word.
    pub draft: String,
}

/// What somebody of the yard did to a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldBy {
    /// Who.
    pub person: PersonId,
    /// Why, or the word added.
    pub why: String,
}

/// A letter written anew before it went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rewritten {
    /// The subject.
    pub subject: String,
    /// The message.
    pub bytes: Vec<u8>,
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

    /// The state of a word in the table.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
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
