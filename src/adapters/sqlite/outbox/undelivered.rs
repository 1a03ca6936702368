//! Letters that did not reach their reader: refused, given up, or waiting for longer than the danger allows.

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Row, Transaction, params};

use super::insert_letter;
use super::marks::CAME_BACK;
use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::Doing as _;
use crate::app::ports::{
    Cause, Patience, StoreError, TEXTS, Undelivered, UndeliveredLetters, Unsendable, WEBHOOKS,
};

/// A relay gives up and brings a letter back within so long (RFC 5321 section 4.5.4.1: at least 4 to 5 days); an address that
/// is wrong comes back within the hour, common practice, no source.
const BACK_WITHIN: TimeDelta = TimeDelta::days(3);

impl UndeliveredLetters for Store {
    fn undelivered(
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

    fn next_overdue(
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
