//! Letters to owners that wait for the yard to look at them first.

use chrono::{DateTime, Utc};
use rusqlite::{Row, params};

use super::{COLUMNS, Posted, posted};
use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::{Doing as _, StoreError};
use crate::domain::boat::PersonId;

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

impl Store {
    /// Letters that wait for the yard at `now`, the one that goes first first.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn held_letters(&self, now: DateTime<Utc>) -> Result<Vec<Posted>, StoreError> {
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

    /// Holds a letter that still waits until another time, or lets it go (`until` is now), with what was said, and
    /// with other bytes where a word was added. `false` where it waits no more.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn hold_letter(
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

/// The columns from `held_until_ms` on.
pub(super) fn of_row(row: &Row<'_>) -> rusqlite::Result<Option<Held>> {
    let time = |column| -> rusqlite::Result<Option<DateTime<Utc>>> {
        Ok(row.get::<_, Option<Millis>>(column)?.map(|Millis(at)| at))
    };
    let (Some(until), Some(most), Some(free)) = (time(23)?, time(24)?, time(25)?) else {
        return Ok(None);
    };
    let person: Option<String> = row.get(26)?;
    let why: Option<String> = row.get(27)?;
    let by = person.map(|person| HeldBy { person: person.into(), why: why.unwrap_or_default() });
    Ok(Some(Held {
        until,
        most,
        free,
        by,
        draft: row.get::<_, Option<String>>(28)?.unwrap_or_default(),
    }))
}
