//! One row per background loop, and when each thing that goes by the clock last ran.

use crate::adapters::sqlite::cached::Cached as _;
use chrono::{DateTime, Utc};
use rusqlite::{OptionalExtension as _, Transaction, params};

use super::Store;
use super::column::Millis;
use super::error::Doing as _;
use crate::app::ports::{LoopStatus, RunLog, StoreError};

/// Name under which the store notes that a daemon runs.
const RUNNING: &str = "running";

impl RunLog for Store {
    fn put_status(
        &self,
        name: &str,
        ok: bool,
        at: DateTime<Utc>,
        text: &str,
    ) -> Result<(), StoreError> {
        let status =
            LoopStatus { name: name.to_owned(), ok, at, last_ok: None, text: text.to_owned() };
        self.write("noting how a loop went", |tx| put_status(tx, &status))
    }

    fn put_run(&self, name: &str, at: DateTime<Utc>) -> Result<(), StoreError> {
        self.write("noting a last run", |tx| put_last_run(tx, name, at))
    }

    fn statuses(&self) -> Result<Vec<LoopStatus>, StoreError> {
        let doing = "reading how the loops went";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT name, ok, at_ms, last_ok_ms, text FROM loop_status ORDER BY name",
                )
                .context(doing)?;
            let rows = statement
                .query_map([], |row| {
                    Ok(LoopStatus {
                        name: row.get(0)?,
                        ok: row.get(1)?,
                        at: row.get::<_, Millis>(2)?.0,
                        last_ok: row.get::<_, Option<Millis>>(3)?.map(|Millis(at)| at),
                        text: row.get(4)?,
                    })
                })
                .context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }

    fn last_run(&self, name: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
        let doing = "reading a last run";
        self.read(doing, |connection| {
            connection
                .one_row("SELECT at_ms FROM last_run WHERE name = ?1", [name], |row| {
                    Ok(row.get::<_, Millis>(0)?.0)
                })
                .optional()
                .context(doing)
        })
    }

    fn mark_running(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, StoreError> {
        let doing = "noting that the daemon runs";
        self.write(doing, |tx| {
            let before = tx
                .one_row("SELECT at_ms FROM last_run WHERE name = ?1", [RUNNING], |row| {
                    row.get::<_, Millis>(0)
                })
                .optional()
                .context(doing)?;
            put_last_run(tx, RUNNING, now)?;
            Ok(before.map(|Millis(at)| at))
        })
    }

    fn mark_stopped(&self) -> Result<(), StoreError> {
        let doing = "noting that the daemon ended";
        self.write(doing, |tx| {
            tx.change("DELETE FROM last_run WHERE name = ?1", params![RUNNING])
                .context(doing)
                .map(drop)
        })
    }
}

pub(super) fn put_status(tx: &Transaction<'_>, status: &LoopStatus) -> Result<(), StoreError> {
    tx.change(
        "INSERT INTO loop_status (name, ok, at_ms, last_ok_ms, text)
         VALUES (?1, ?2, ?3, CASE WHEN ?2 THEN ?3 END, ?4)
         ON CONFLICT (name) DO UPDATE
         SET ok = ?2, at_ms = ?3, last_ok_ms = CASE WHEN ?2 THEN ?3 ELSE last_ok_ms END, text = ?4",
        params![status.name, status.ok, Millis(status.at), status.text],
    )
    .context("noting how a loop went")
    .map(drop)
}

pub(super) fn put_last_run(
    tx: &Transaction<'_>,
    name: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.change(
        "INSERT INTO last_run (name, at_ms) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET at_ms = ?2",
        params![name, Millis(at)],
    )
    .context("noting a last run")
    .map(drop)
}
