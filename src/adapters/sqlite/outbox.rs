//! The outbox in SQL: see [`Outbox`] for the life of a row.

mod columns;
mod count;
mod held;
mod lease;
mod marks;
mod undelivered;

use chrono::{DateTime, Utc};
use rusqlite::{OptionalExtension as _, Transaction, params, params_from_iter};

use super::Store;
use super::column::Millis;
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{Outbox, OutboxRow, Posted, StoreError};
use columns::{COLUMNS, posted};

pub(super) use undelivered::insert_unsendable;

impl Outbox for Store {
    fn waiting_letters(&self) -> Result<Vec<Posted>, StoreError> {
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

    fn letter_by_token(&self, token: &str) -> Result<Option<Posted>, StoreError> {
        let doing = "looking for a letter";
        let statement = format!(
            "SELECT {COLUMNS} FROM outbox
             WHERE substr(message_id, 1, instr(message_id, '@') - 1) = ?1 ORDER BY id DESC LIMIT 1"
        );
        self.read(doing, |connection| {
            connection.one_row(&statement, [token], posted).optional().context(doing)
        })
    }

    fn letters_about(&self, start: &str, since: DateTime<Utc>) -> Result<u32, StoreError> {
        let doing = "counting letters";
        self.read(doing, |connection| {
            let query = "SELECT count(DISTINCT alert_id) FROM outbox
                 WHERE substr(alert_id, 1, length(?1)) = ?1 AND queued_ms > ?2";
            connection
                .one_row(query, params![start, Millis(since)], |row| row.get(0))
                .context(doing)
        })
    }

    fn letters(&self, alert: Option<&str>) -> Result<Vec<Posted>, StoreError> {
        let doing = "reading the outbox";
        // Two statements: with "any or this" in one, the whole outbox would be read for one alert.
        let of_alert = if alert.is_some() { "WHERE alert_id = ?1" } else { "" };
        let statement = format!("SELECT {COLUMNS} FROM outbox {of_alert} ORDER BY id");
        self.read(doing, |connection| {
            let mut statement = connection.prepare_cached(&statement).context(doing)?;
            let rows = statement.query_map(params_from_iter(alert), posted).context(doing)?;
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
