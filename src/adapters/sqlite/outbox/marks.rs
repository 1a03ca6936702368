//! Noting what became of letters.

use std::sync::PoisonError;

use chrono::{DateTime, Utc};
use rusqlite::{Transaction, params};

use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::Doing as _;
use crate::app::ports::{Fault, LetterMarks, Plainer, StoreError, Wait};

impl Drop for Store {
    fn drop(&mut self) {
        self.mark_the_unmarked();
    }
}

impl LetterMarks for Store {
    fn mark_sent(&self, id: i64, reply: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
        let marked = self.write("noting that a letter was sent", |tx| sent(tx, id, reply, now));
        if marked.is_err() {
            let mut unmarked = self.unmarked.lock().unwrap_or_else(PoisonError::into_inner);
            unmarked.push((id, reply.to_owned(), now));
        }
        marked
    }

    fn mark_deferred(
        &self,
        id: i64,
        attempt: u32,
        wait: &Wait<'_>,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "noting that a letter has to wait";
        let fault = wait.fault.map(Fault::as_str);
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET state = 'deferred', due_ms = ?3, answer = ?4, last_attempt_ms = ?5, fault = ?6,
                    lease_until_ms = NULL
                 WHERE id = ?1 AND attempts = ?2 AND state = 'leased'",
                params![id, attempt, Millis(wait.until), wait.why, Millis(now), fault],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }

    fn mark_unknown(
        &self,
        id: i64,
        attempt: u32,
        (until, why): (DateTime<Utc>, &str),
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "noting that nobody knows what became of a letter";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET state = 'deferred', due_ms = ?3, answer = ?4, last_attempt_ms = ?5, fault = NULL,
                    lease_until_ms = NULL, unknown_times = unknown_times + 1
                 WHERE id = ?1 AND attempts = ?2 AND state = 'leased'",
                params![id, attempt, Millis(until), why, Millis(now)],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }

    fn took_another_since(&self, id: i64) -> Result<bool, StoreError> {
        let doing = "looking for what the relay has taken";
        self.read(doing, |connection| {
            connection
                .one_row(
                    "SELECT EXISTS (SELECT 1 FROM outbox AS own JOIN outbox AS other
                        ON other.state = 'sent' AND other.channel = own.channel
                            AND other.address <> own.address AND other.done_ms >= own.first_attempt_ms
                        WHERE own.id = ?1)",
                    [id],
                    |row| row.get(0),
                )
                .context(doing)
        })
    }

    fn readdress(&self, id: i64, address: &str, bytes: &[u8]) -> Result<bool, StoreError> {
        let doing = "putting another address on a letter";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET address = ?2, bytes = ?3, fault = NULL,
                    due_ms = CASE WHEN state = 'deferred' THEN last_attempt_ms ELSE due_ms END
                 WHERE id = ?1 AND state IN ('queued', 'deferred')",
                params![id, address, bytes],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }

    fn put_plainer(
        &self,
        id: i64,
        attempt: u32,
        plainer: &Plainer,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "putting a plainer letter in place of one that was too big";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET state = 'deferred', due_ms = ?3, message_id = ?4, return_path = ?5, bytes = ?6,
                    answer = 'too big: goes again as plain text', last_attempt_ms = ?3, lease_until_ms = NULL
                 WHERE id = ?1 AND attempts = ?2 AND state = 'leased'",
                params![
                    id,
                    attempt,
                    Millis(now),
                    plainer.message_id,
                    plainer.return_path,
                    plainer.bytes
                ],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }

    fn mark_failed(
        &self,
        id: i64,
        attempt: u32,
        fault: Fault,
        why: &str,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "noting that a letter was refused";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET state = 'failed', fault = ?3, answer = ?4, last_attempt_ms = ?5, done_ms = ?5,
                    lease_until_ms = NULL
                 WHERE id = ?1 AND attempts = ?2 AND state = 'leased'",
                params![id, attempt, fault.as_str(), why, Millis(now)],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }

    fn mark_bounced(
        &self,
        id: i64,
        (fault, why): (Fault, &str),
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "noting that a letter came back";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET state = 'failed', fault = ?2, answer = ?3, done_ms = ?4
                 WHERE id = ?1 AND state = 'sent'",
                params![id, fault.as_str(), format!("{CAME_BACK}{why}"), Millis(now)],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }
}

impl Store {
    /// Writes down what was accepted and could not be marked then; before this value is let go.
    fn mark_the_unmarked(&self) {
        let unmarked =
            std::mem::take(&mut *self.unmarked.lock().unwrap_or_else(PoisonError::into_inner));
        for (id, reply, at) in unmarked {
            // Remembers it again where it cannot.
            if let Err(error) = self.mark_sent(id, &reply, at) {
                tracing::error!("letter {id} was taken and may go again: {error}");
            }
        }
    }
}

/// What the answer of a letter that came back begins with.
pub(super) const CAME_BACK: &str = "came back: ";

pub(super) fn sent(
    tx: &Transaction<'_>,
    id: i64,
    reply: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.change(
        "UPDATE outbox SET state = 'sent', done_ms = ?3, last_attempt_ms = ?3, answer = ?2, fault = NULL,
            lease_until_ms = NULL
         WHERE id = ?1 AND state <> 'sent'",
        params![id, reply, Millis(now)],
    )
    .context("noting that a letter was sent")
    .map(drop)
}
