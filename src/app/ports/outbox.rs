//! The outbox: letters on their way out, each under a lease while somebody is sending it.
//!
//! Life of a row: `queued`, then `leased` by a sender, then `sent`, or `deferred` (due again later), or `failed`.
//! Before anything is leased, rows that nobody should read any more leave the queue: `expired` ones, and those
//! `superseded` by a newer letter of the same thread to the same person. A closing letter is never superseded.
//!
//! A letter is lost at no step. It goes out twice only when the sender stopped between the server's acceptance and
//! [`LetterMarks::mark_sent`]: the lease runs out and the same bytes with the same Message-ID go again.

mod row;
mod standing;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::ports::StoreError;
use crate::domain::boat::PersonId;

pub use row::{Held, HeldBy, OutboxRow, OutboxState, Posted, Rewritten, TEXTS, WEBHOOKS};
pub use standing::{
    Cause, Due, Fault, MessageCount, OutboxSummary, Patience, Plainer, Undelivered, Unsendable,
    Wait, Waiting,
};

/// The letters, whatever became of them.
pub trait Outbox:
    LetterCounts + HeldLetters + LetterLeases + LetterMarks + UndeliveredLetters
{
    /// Letters that wait and that nobody is sending.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn waiting_letters(&self) -> Result<Vec<Posted>, StoreError>;

    /// The letter whose Message-ID begins with `token`, before the `@`.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn letter_by_token(&self, token: &str) -> Result<Option<Posted>, StoreError>;

    /// How many things, the names of which begin so, letters were queued about since `since`.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn letters_about(&self, start: &str, since: DateTime<Utc>) -> Result<u32, StoreError>;

    /// All letters, or those of one alert, in the order in which they were queued.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn letters(&self, alert: Option<&str>) -> Result<Vec<Posted>, StoreError>;
}

/// How many letters stand where.
pub trait LetterCounts: Send + Sync {
    /// Who was written to since then, about which alert (or other matter), and when it was decided; what was dropped
    /// before it went does not count.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn letters_since(
        &self,
        since: DateTime<Utc>,
    ) -> Result<Vec<(PersonId, String, DateTime<Utc>)>, StoreError>;

    /// Letters per person and kind, in that order.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn message_counts(&self) -> Result<Vec<MessageCount>, StoreError>;

    /// Letters by state, the oldest that waits, the next attempt.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn outbox_summary(&self) -> Result<OutboxSummary, StoreError>;

    /// Letters queued before `before` that still have to go, oldest first: for saying that somebody cannot be reached.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn waiting(&self, before: DateTime<Utc>) -> Result<Vec<Waiting>, StoreError>;
}

/// Letters to owners that wait for the yard to look at them first.
pub trait HeldLetters: Send + Sync {
    /// Letters that wait for the yard at `now`, the one that goes first first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn held_letters(&self, now: DateTime<Utc>) -> Result<Vec<Posted>, StoreError>;

    /// Holds a letter that still waits until another time, or lets it go (`until` is now), with what was said, and
    /// with other bytes where a word was added. `false` where it waits no more.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn hold_letter(
        &self,
        id: i64,
        decision: (DateTime<Utc>, &HeldBy),
        rewritten: Option<&Rewritten>,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError>;
}

/// Taking letters out to send them.
pub trait LetterLeases: Send + Sync {
    /// Clears expired and superseded letters of a channel out of the queue, then leases up to `most` that are due.
    ///
    /// A lease that has run out counts as due: whoever held it has stopped.
    ///
    /// # Errors
    /// Whatever the database answers; nothing was leased then.
    fn lease_due(
        &self,
        channel: &str,
        now: DateTime<Utc>,
        most: u32,
        lease_for: TimeDelta,
    ) -> Result<Due, StoreError>;

    /// When the next letter of a channel, the next short text or the next note to a program falls due, or the lease of one in hand runs out.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn next_letter_due(&self, channel: &str) -> Result<Option<DateTime<Utc>>, StoreError>;

    /// Puts letters that wait for another way out onto this one, after the configuration has changed. Returns how many.
    ///
    /// A letter whose lease has run out waits too: whoever held it has stopped.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn take_over_letters(&self, channel: &str, now: DateTime<Utc>) -> Result<usize, StoreError>;

    /// Makes letters due that wait for a time which only a wrong clock can have set: retries and leases more than an
    /// hour ahead, and letters that say they were queued in the future. Returns how many.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mend_after_clock_step(&self, now: DateTime<Utc>) -> Result<usize, StoreError>;

    /// Gives a letter back that was taken but not tried: as if nobody had taken it. `attempt` as for
    /// [`LetterMarks::mark_deferred`].
    ///
    /// # Errors
    /// Whatever the database answers: the lease runs out by itself then.
    fn release(&self, id: i64, attempt: u32) -> Result<bool, StoreError>;

    /// Holds on to a letter that is still being sent; `attempt` as for [`LetterMarks::mark_deferred`].
    ///
    /// # Errors
    /// Whatever the database answers.
    fn renew(&self, id: i64, attempt: u32, until: DateTime<Utc>) -> Result<bool, StoreError>;
}

/// Noting what became of letters.
pub trait LetterMarks: Send + Sync {
    /// Notes that the server accepted a letter. True whoever holds the lease by now: it *was* accepted.
    ///
    /// # Errors
    /// Whatever the database answers, as when the disk is full: this value remembers it then, and marks the letter before
    /// it hands out others. Only if the program ends before that does it go again, with the same Message-ID.
    fn mark_sent(&self, id: i64, reply: &str, now: DateTime<Utc>) -> Result<(), StoreError>;

    /// Notes that a letter has to wait. `attempt` is [`Posted::attempts`] of the lease: a letter
    /// that somebody else took since is left alone, and the answer is `false`.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mark_deferred(
        &self,
        id: i64,
        attempt: u32,
        wait: &Wait<'_>,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError>;

    /// Notes that nobody knows whether a letter was taken: it waits until `until`, and the time is counted. `attempt` as for
    /// [`LetterMarks::mark_deferred`].
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mark_unknown(
        &self,
        id: i64,
        attempt: u32,
        wait: (DateTime<Utc>, &str),
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError>;

    /// Has the relay taken a letter to another address since this one was first tried? Then it works, and a refusal is about
    /// the address.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn took_another_since(&self, id: i64) -> Result<bool, StoreError>;

    /// Sends a letter that still waits to another address. `false` where it waits no more, or somebody is sending it.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn readdress(&self, id: i64, address: &str, bytes: &[u8]) -> Result<bool, StoreError>;

    /// Puts a plainer form of a letter in its place, due at once: other bytes, and so another Message-ID (RFC 5322 3.6.4).
    /// `attempt` as for [`LetterMarks::mark_deferred`].
    ///
    /// # Errors
    /// Whatever the database answers.
    fn put_plainer(
        &self,
        id: i64,
        attempt: u32,
        plainer: &Plainer,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError>;

    /// Notes that a letter was refused for good. `attempt` as for [`LetterMarks::mark_deferred`].
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mark_failed(
        &self,
        id: i64,
        attempt: u32,
        fault: Fault,
        why: &str,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError>;

    /// Notes that a letter which was sent has come back, whose fault that is and why. `false` where it was not sent, or has come
    /// back before.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn mark_bounced(
        &self,
        id: i64,
        cause: (Fault, &str),
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError>;
}

/// Letters that did not reach their reader.
pub trait UndeliveredLetters: Send + Sync {
    /// Letters that did not reach their reader, in the order of readers and of queueing. Out of it fall those whose
    /// address has taken a letter since, and where one came back, has kept it for days: a relay takes the next one as it took
    /// that one. A letter that is still tried stays in it until it goes or is replaced.
    ///
    /// Short texts are not counted: the letter beside says more, and whether that arrives is what matters.
    ///
    /// A relay that takes nothing from anybody makes nobody unreachable: waiting counts where other letters went.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn undelivered(
        &self,
        patience: Patience,
        now: DateTime<Utc>,
    ) -> Result<Vec<Undelivered>, StoreError>;

    /// When the next letter will have waited too long, after `after`.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn next_overdue(
        &self,
        patience: Patience,
        after: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreError>;
}
