//! Letters to owners that wait for the yard to look at them first.

use chrono::{DateTime, Utc};
use rusqlite::params;

use super::columns::{COLUMNS, posted};
use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::Doing as _;
use crate::app::ports::{HeldBy, HeldLetters, Posted, Rewritten, StoreError};

impl HeldLetters for Store {
    fn held_letters(&self, now: DateTime<Utc>) -> Result<Vec<Posted>, StoreError> {
        let doing = "reading the letters that wait for the yard";
        let statement = format!(
            "SELECT {COLUMNS} FROM outbox WHERE state = 'queued' AND held_until_ms > ?1 ORDER BY held_until_ms, id"
        );
        self.read(doing, |connection| {
            let mut statement = connection.prepare_cached(&statement).context(doing)?;
            let rows = statement.query_map([Millis(now)], posted).context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }

    fn hold_letter(
        &self,
        id: i64,
        (until, by): (DateTime<Utc>, &HeldBy),
        rewritten: Option<&Rewritten>,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "holding a letter for the yard";
        self.write(doing, |tx| {
            tx.change(
                "UPDATE outbox SET held_until_ms = ?2, due_ms = max(?2, held_free_ms), held_by = ?3, held_why = ?4,
                    subject = coalesce(?5, subject), bytes = coalesce(?6, bytes)
                 WHERE id = ?1 AND state = 'queued' AND held_until_ms > ?7",
                params![
                    id,
                    Millis(until),
                    by.person.as_str(),
                    by.why,
                    rewritten.map(|letter| letter.subject.as_str()),
                    rewritten.map(|letter| letter.bytes.as_slice()),
                    Millis(now)
                ],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })
    }
}
