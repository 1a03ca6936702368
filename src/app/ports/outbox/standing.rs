//! What is taken out of the outbox, what became of it, and how much of it stands where.

use chrono::{DateTime, TimeDelta, Utc};

use super::{OutboxRow, OutboxState, Posted};
use crate::domain::boat::PersonId;

/// What was taken out, and what left the queue on the way.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Due {
    /// Leased letters, urgent ones first, then by time due.
    pub letters: Vec<Posted>,
    /// Letters that a newer one replaced just now.
    pub superseded: usize,
    /// Letters that expired just now.
    pub expired: usize,
}

/// Until when a letter waits, and why.
#[derive(Debug, Clone, Copy)]
pub struct Wait<'a> {
    /// The next attempt.
    pub until: DateTime<Utc>,
    /// The server said no for good; we go on while the letter still matters, since a rule or a filter can be mended.
    pub fault: Option<Fault>,
    /// The server's words, or ours.
    pub why: &'a str,
}

/// The same letter without what made it big.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plainer {
    /// Its own Message-ID.
    pub message_id: String,
    /// Where its bounces go.
    pub return_path: String,
    /// The message.
    pub bytes: Vec<u8>,
}

/// Why a server refused a letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The address does not take mail: turn to the next contact.
    Address,
    /// The server does not want our mail: the operator must act.
    Policy,
    /// Too big for the server.
    Size,
    /// Anything else.
    Other,
}

impl Fault {
    /// As it stands in the table.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Address => "address",
            Self::Policy => "policy",
            Self::Size => "size",
            Self::Other => "other",
        }
    }
}

/// Letters of one kind to one person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessageCount {
    /// The person.
    pub recipient: PersonId,
    /// Kind of letter.
    pub kind: String,
    /// Accepted by the server.
    pub sent: u32,
    /// Still to send.
    pub waiting: u32,
    /// Refused for good.
    pub failed: u32,
    /// Expired or superseded before they went.
    pub dropped: u32,
}

/// The outbox at a glance.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OutboxSummary {
    /// Letters by state; states without letters are left out.
    pub states: Vec<(OutboxState, u32)>,
    /// When the oldest letter that still has to go was queued.
    pub oldest_waiting: Option<DateTime<Utc>>,
    /// When the next attempt is due.
    pub next_due: Option<DateTime<Utc>>,
}

impl OutboxSummary {
    /// How many letters are in a state.
    #[must_use]
    pub fn count(&self, state: OutboxState) -> u32 {
        self.states.iter().find(|(found, _)| *found == state).map_or(0, |(_, count)| *count)
    }
}

/// A letter that still has to go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// The alert, or what else it is about.
    pub alert: String,
    /// Whom it is for.
    pub recipient: PersonId,
    /// The way out.
    pub channel: String,
    /// Does it go before others?
    pub urgent: bool,
    /// Since when it waits.
    pub queued_at: DateTime<Utc>,
    /// How often somebody began to send it.
    pub attempts: u32,
    /// Why it did not go, in the server's words or ours.
    pub why: Option<String>,
}

/// Why a letter is not with its reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The address takes no mail, or there is none.
    Address,
    /// The server does not want our mail.
    Policy,
    /// Too big, even as plain text.
    Size,
    /// The server refused it for another reason.
    Other,
    /// It could not be written.
    Unwritten,
    /// Tried for a long time while other letters went through.
    Waits,
}

/// A letter that did not reach its reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undelivered {
    /// The reader.
    pub recipient: PersonId,
    /// The address it was for; empty where none is listed.
    pub address: String,
    /// Kind of letter.
    pub kind: String,
    /// It tells of an end, not of a danger.
    pub closing: bool,
    /// It was pressing.
    pub urgent: bool,
    /// Its subject.
    pub subject: String,
    /// When it was decided.
    pub queued_at: DateTime<Utc>,
    /// Since when it counts as not arrived: given up, first refused, or tried for too long.
    pub since: DateTime<Utc>,
    /// Why.
    pub cause: Cause,
    /// The server's words, or ours.
    pub why: String,
}

/// How long a letter may be tried before it counts as not arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// An urgent one.
    pub urgent: TimeDelta,
    /// Any other.
    pub other: TimeDelta,
}

/// A letter that was decided and cannot go: it stands in the outbox as refused, so that nobody counts as told by it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsendable {
    /// As far as it could be written.
    pub row: OutboxRow,
    /// Which kind of trouble.
    pub fault: Fault,
    /// What is wrong, in words.
    pub why: String,
}
