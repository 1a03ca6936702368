//! Taking letters out to send them.

use std::sync::PoisonError;

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Transaction, params};

use super::columns::{COLUMNS, posted};
use super::marks::sent;
use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::Doing as _;
use crate::app::ports::{Due, LetterLeases, Posted, StoreError, TEXTS, WEBHOOKS};

/// Which rows nobody is sending at the moment.
macro_rules! idle {
    () => {
        "(state IN ('queued', 'deferred') OR (state = 'leased' AND lease_until_ms <= ?2))"
    };
}

/// A short text goes no sooner than the letter that it goes with, where the yard looks at that first.
macro_rules! may_go {
    () => {
        "NOT (channel = 'text' AND EXISTS (SELECT 1 FROM outbox AS letter
            WHERE letter.alert_id = outbox.alert_id AND letter.revision = outbox.revision
                AND letter.recipient = outbox.recipient AND letter.step = outbox.step
                AND letter.channel NOT IN ('text', 'webhook') AND letter.held_until_ms IS NOT NULL
                AND letter.state <> 'sent'))"
    };
}

impl LetterLeases for Store {
    fn lease_due(
        &self,
        channel: &str,
        now: DateTime<Utc>,
        most: u32,
        lease_for: TimeDelta,
    ) -> Result<Due, StoreError> {
        let mut unmarked = self.unmarked.lock().unwrap_or_else(PoisonError::into_inner);
        let due = self.write("taking letters out of the outbox", |tx| {
            for (id, reply, at) in unmarked.iter() {
                sent(tx, *id, reply, *at)?;
            }
            // Superseded first: of two old letters, the reason that names the newer one says more.
            let superseded = withdraw(tx, channel, now)? + supersede(tx, channel, now)?;
            let expired = expire(tx, channel, now)?;
            let letters = lease(tx, channel, now, most, now + lease_for)?;
            Ok(Due { letters, superseded, expired })
        })?;
        unmarked.clear();
        Ok(due)
    }

    fn next_letter_due(&self, channel: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
        let doing = "looking for the next letter";
        self.read(doing, |connection| {
            connection
                .one_row(
                    concat!(
                        "SELECT min(CASE state WHEN 'leased' THEN max(due_ms, lease_until_ms) ELSE due_ms END)
                         FROM outbox WHERE channel IN (?1, ?2, ?3)
                            AND state IN ('queued', 'leased', 'deferred') AND ",
                        may_go!()
                    ),
                    [channel, TEXTS, WEBHOOKS],
                    |row| row.get::<_, Option<Millis>>(0),
                )
                .context(doing)
                .map(|due| due.map(|Millis(at)| at))
        })
    }

    fn take_over_letters(&self, channel: &str, now: DateTime<Utc>) -> Result<usize, StoreError> {
        let doing = "taking over letters of another way out";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE OR IGNORE outbox SET channel = ?1
                 WHERE channel NOT IN (?1, ?3, ?4) AND (state IN ('queued', 'deferred')
                    OR (state = 'leased' AND lease_until_ms <= ?2))",
                params![channel, Millis(now), TEXTS, WEBHOOKS],
            )
            .context(doing)
        })
    }

    fn mend_after_clock_step(&self, now: DateTime<Utc>) -> Result<usize, StoreError> {
        let doing = "looking for letters under a wrong clock";
        let far = now + TimeDelta::hours(1);
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET due_ms = ?1,
                    lease_until_ms = CASE WHEN state = 'leased' THEN min(lease_until_ms, ?2) END
                 WHERE (state = 'deferred' AND due_ms > ?2)
                    OR (state = 'leased' AND lease_until_ms > ?2)
                    OR (state = 'queued' AND queued_ms > ?2 AND due_ms > ?2)",
                params![Millis(now), Millis(far)],
            )
            .context(doing)
        })
    }

    fn release(&self, id: i64, attempt: u32) -> Result<bool, StoreError> {
        let doing = "giving a letter back";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET state = CASE WHEN attempts > 1 THEN 'deferred' ELSE 'queued' END,
                    attempts = attempts - 1, lease_until_ms = NULL,
                    first_attempt_ms = CASE WHEN attempts > 1 THEN first_attempt_ms END
                 WHERE id = ?1 AND attempts = ?2 AND state = 'leased'",
                params![id, attempt],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }

    fn renew(&self, id: i64, attempt: u32, until: DateTime<Utc>) -> Result<bool, StoreError> {
        let doing = "holding on to a letter in hand";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET lease_until_ms = ?3
                 WHERE id = ?1 AND attempts = ?2 AND state = 'leased'",
                params![id, attempt, Millis(until)],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }
}

/// Takes out letters that a newer one of their thread replaces, sent or still to send. A newer one that failed or
/// expired replaces nothing: the older words are better than none.
fn supersede(tx: &Transaction<'_>, channel: &str, now: DateTime<Utc>) -> Result<usize, StoreError> {
    tx.change(
        concat!(
            "UPDATE outbox SET state = 'superseded', done_ms = ?2, lease_until_ms = NULL,
                answer = coalesce(answer || '; ', '') || 'a newer letter took its place'
             WHERE channel = ?1 AND NOT closing AND ",
            idle!(),
            " AND EXISTS (SELECT 1 FROM outbox AS newer
                WHERE newer.thread = outbox.thread AND newer.recipient = outbox.recipient
                    AND newer.channel = outbox.channel AND newer.revision > outbox.revision
                    AND newer.queued_ms <= ?2
                    AND (newer.state = 'sent'
                        OR (newer.state IN ('queued', 'leased', 'deferred') AND newer.expires_ms > ?2)))"
        ),
        params![channel, Millis(now)],
    )
    .context("clearing superseded letters")
}

/// Takes out closing letters about a danger of which the reader has had no word, because it was still held: nobody needs
/// to hear the end of what they never heard of. What was held goes with it, superseded.
fn withdraw(tx: &Transaction<'_>, channel: &str, now: DateTime<Utc>) -> Result<usize, StoreError> {
    tx.change(
        concat!(
            "UPDATE outbox SET state = 'superseded', done_ms = ?2, lease_until_ms = NULL,
                answer = 'it was over before the first word went'
             WHERE channel = ?1 AND attempts = 0 AND closing AND NOT urgent AND ",
            idle!(),
            " AND EXISTS (SELECT 1 FROM outbox AS first
                WHERE first.thread = outbox.thread AND first.recipient = outbox.recipient
                    AND first.channel = outbox.channel AND first.revision < outbox.revision
                    AND first.state = 'queued' AND first.attempts = 0)
             AND NOT EXISTS (SELECT 1 FROM outbox AS said
                WHERE said.thread = outbox.thread AND said.recipient = outbox.recipient
                    AND said.revision < outbox.revision AND NOT (said.attempts = 0
                        AND said.state IN ('queued', 'superseded')))"
        ),
        params![channel, Millis(now)],
    )
    .context("clearing the end of what was never told")
    .and_then(|count| {
        if count == 0 {
            return Ok(0);
        }
        tx.change(
            "UPDATE outbox SET state = 'superseded', done_ms = ?2, answer = 'it was over before this went'
             WHERE channel = ?1 AND state = 'queued' AND attempts = 0 AND EXISTS (SELECT 1 FROM outbox AS closing
                WHERE closing.thread = outbox.thread AND closing.recipient = outbox.recipient
                    AND closing.closing AND closing.state = 'superseded' AND closing.done_ms = ?2
                    AND closing.revision > outbox.revision)",
            params![channel, Millis(now)],
        )
        .context("clearing what was over before it went")
        .map(|held| held + count)
    })
}

fn expire(tx: &Transaction<'_>, channel: &str, now: DateTime<Utc>) -> Result<usize, StoreError> {
    tx.change(
        concat!(
            "UPDATE outbox SET state = 'expired', done_ms = ?2, lease_until_ms = NULL,
                answer = coalesce(answer || '; ', '') || 'nobody needs it any more'
             WHERE channel = ?1 AND expires_ms <= ?2 AND ",
            idle!()
        ),
        params![channel, Millis(now)],
    )
    .context("clearing expired letters")
}

fn lease(
    tx: &Transaction<'_>,
    channel: &str,
    now: DateTime<Utc>,
    most: u32,
    until: DateTime<Utc>,
) -> Result<Vec<Posted>, StoreError> {
    let doing = "leasing letters";
    // The test is repeated outside the inner SELECT, so that the statement is right by itself on any database.
    let statement = format!(
        "UPDATE outbox SET state = 'leased', lease_until_ms = ?4, attempts = attempts + 1, last_attempt_ms = ?2,
            first_attempt_ms = coalesce(first_attempt_ms, ?2)
         WHERE id IN (SELECT id FROM outbox
                WHERE channel = ?1 AND due_ms <= ?2 AND {idle} AND {may_go}
                ORDER BY urgent DESC, due_ms, id LIMIT ?3)
            AND due_ms <= ?2 AND {idle}
         RETURNING {COLUMNS}",
        idle = idle!(),
        may_go = may_go!()
    );
    let mut statement = tx.prepare_cached(&statement).context(doing)?;
    let rows = statement
        .query_map(params![channel, Millis(now), most, Millis(until)], posted)
        .context(doing)?;
    let mut letters: Vec<Posted> = rows.collect::<Result<_, _>>().context(doing)?;
    // RETURNING promises no order.
    letters.sort_by_key(|letter| (!letter.row.urgent, letter.row.due_at, letter.id));
    Ok(letters)
}
