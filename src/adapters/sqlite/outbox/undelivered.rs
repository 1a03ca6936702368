//! Letters that did not reach their reader: refused, given up, or waiting for longer than the danger allows.

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Row, Transaction, params};

use super::marks::CAME_BACK;
use super::{OutboxRow, TEXTS, WEBHOOKS, insert_letter};
use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::{Doing as _, StoreError};
use crate::adapters::sqlite::outbox::Fault;
use crate::domain::boat::PersonId;

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

/// A relay gives up and brings a letter back within so long (RFC 5321 section 4.5.4.1: at least 4 to 5 days); an address that
/// is wrong comes back within the hour, common practice, no source.
const BACK_WITHIN: TimeDelta = TimeDelta::days(3);

impl Store {
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
    pub fn undelivered(
        &self,
        patience: Patience,
        now: DateTime<Utc>,
    ) -> Result<Vec<Undelivered>, StoreError> {
        let doing = "reading what did not arrive";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT recipient, address, kind, closing, urgent, subject, queued_ms,
                        CASE WHEN state = 'failed' AND fault = 'address' THEN coalesce(first_attempt_ms, done_ms)
                            WHEN state = 'failed' THEN done_ms WHEN fault IS NOT NULL THEN first_attempt_ms
                            ELSE first_attempt_ms + CASE WHEN urgent THEN ?1 ELSE ?2 END END,
                        state, fault, coalesce(answer, ''), attempts
                     FROM outbox AS late
                     WHERE channel NOT IN (?6, ?7) AND ((state = 'deferred' AND fault IS NOT NULL)
                        OR (state IN ('queued', 'leased', 'deferred') AND fault IS NULL
                            AND first_attempt_ms + CASE WHEN urgent THEN ?1 ELSE ?2 END <= ?3
                            AND EXISTS (SELECT 1 FROM outbox AS other
                                WHERE other.state = 'sent' AND other.channel <> ?7
                                    AND other.done_ms > late.first_attempt_ms))
                        OR ((state = 'failed' OR (state = 'expired' AND attempts > 0))
                            AND NOT EXISTS (SELECT 1 FROM outbox AS later
                                WHERE later.recipient = late.recipient AND later.address = late.address
                                    AND later.state = 'sent' AND (later.done_ms > late.done_ms
                                        OR (later.done_ms = late.done_ms AND later.id > late.id))
                                    AND (coalesce(late.answer, '') NOT LIKE ?4 || '%' OR later.done_ms <= ?5))))
                     ORDER BY recipient, id",
                )
                .context(doing)?;
            let rows = statement
                .query_map(
                    params![
                        patience.urgent.num_milliseconds(),
                        patience.other.num_milliseconds(),
                        Millis(now),
                        CAME_BACK,
                        Millis(now - BACK_WITHIN),
                        TEXTS,
                        WEBHOOKS
                    ],
                    undelivered,
                )
                .context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }
}

impl Store {
    /// When the next letter will have waited too long, after `after`.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn next_overdue(
        &self,
        patience: Patience,
        after: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreError> {
        let doing = "looking for letters that wait";
        self.read(doing, |connection| {
            connection
                .one_row(
                    "SELECT min(first_attempt_ms + CASE WHEN urgent THEN ?1 ELSE ?2 END) FROM outbox
                     WHERE state IN ('queued', 'leased', 'deferred') AND fault IS NULL AND channel NOT IN (?4, ?5)
                        AND first_attempt_ms + CASE WHEN urgent THEN ?1 ELSE ?2 END > ?3",
                    params![
                        patience.urgent.num_milliseconds(),
                        patience.other.num_milliseconds(),
                        Millis(after),
                        TEXTS,
                        WEBHOOKS
                    ],
                    |row| row.get::<_, Option<Millis>>(0),
                )
                .context(doing)
                .map(|due| due.map(|Millis(at)| at))
        })
    }
}

fn undelivered(row: &Row<'_>) -> rusqlite::Result<Undelivered> {
    let fault: Option<String> = row.get(9)?;
    let state: String = row.get(8)?;
    let cause = match (state.as_str(), fault.as_deref()) {
        (_, Some("address")) => Cause::Address,
        (_, Some("policy")) => Cause::Policy,
        (_, Some("size")) => Cause::Size,
        // What a server refused is tried on: so fails only a letter of which there are no bytes, or of which nobody could tell
        // often enough whether it was taken.
        ("failed", Some(_)) if row.get::<_, u32>(11)? == 0 => Cause::Unwritten,
        (_, Some(_)) => Cause::Other,
        (_, None) => Cause::Waits,
    };
    Ok(Undelivered {
        recipient: row.get::<_, String>(0)?.into(),
        address: row.get(1)?,
        kind: row.get(2)?,
        closing: row.get(3)?,
        urgent: row.get(4)?,
        subject: row.get(5)?,
        queued_at: row.get::<_, Millis>(6)?.0,
        since: row.get::<_, Millis>(7)?.0,
        cause,
        why: row.get(10)?,
    })
}

/// Puts a letter that cannot go into the outbox, as refused.
pub(in crate::adapters::sqlite) fn insert_unsendable(
    tx: &Transaction<'_>,
    letter: &Unsendable,
) -> Result<bool, StoreError> {
    let new = insert_letter(tx, &letter.row)?;
    if new {
        let row = &letter.row;
        tx.change(
            "UPDATE outbox SET state = 'failed', fault = ?6, answer = ?7, done_ms = queued_ms
             WHERE alert_id = ?1 AND revision = ?2 AND recipient = ?3 AND channel = ?4 AND step = ?5",
            params![
                row.alert,
                row.revision,
                row.recipient.as_str(),
                row.channel,
                row.step,
                letter.fault.as_str(),
                letter.why
            ],
        )
        .context("noting a letter that cannot go")?;
    }
    Ok(new)
}
