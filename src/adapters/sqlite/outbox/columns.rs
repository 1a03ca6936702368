//! The columns of a letter, and a letter of them.

use chrono::{DateTime, Utc};
use rusqlite::Row;

use super::super::column::Millis;
use crate::app::ports::{Held, HeldBy, OutboxRow, OutboxState, Posted};

pub(super) const COLUMNS: &str = "id, alert_id, revision, recipient, channel, step, kind, closing, urgent, thread, message_id,
    address, return_path, subject, bytes, queued_ms, due_ms, expires_ms, state, attempts, done_ms, fault, answer,
    held_until_ms, held_most_ms, held_free_ms, held_by, held_why, held_draft, unknown_times";

pub(super) fn posted(row: &Row<'_>) -> rusqlite::Result<Posted> {
    let state: String = row.get(18)?;
    let state = OutboxState::parse(&state)
        .ok_or_else(|| rusqlite::Error::InvalidColumnName(format!("state '{state}'")))?;
    Ok(Posted {
        id: row.get(0)?,
        row: OutboxRow {
            alert: row.get(1)?,
            revision: row.get(2)?,
            recipient: row.get::<_, String>(3)?.into(),
            channel: row.get(4)?,
            step: row.get(5)?,
            kind: row.get(6)?,
            closing: row.get(7)?,
            urgent: row.get(8)?,
            thread: row.get(9)?,
            message_id: row.get(10)?,
            address: row.get(11)?,
            return_path: row.get(12)?,
            subject: row.get(13)?,
            bytes: row.get(14)?,
            queued_at: row.get::<_, Millis>(15)?.0,
            due_at: row.get::<_, Millis>(16)?.0,
            expires_at: row.get::<_, Millis>(17)?.0,
            held: held_of(row)?,
        },
        state,
        attempts: row.get(19)?,
        done_at: row.get::<_, Option<Millis>>(20)?.map(|Millis(at)| at),
        fault: row.get(21)?,
        answer: row.get(22)?,
        unknown_times: row.get(29)?,
    })
}

/// The columns from `held_until_ms` on.
fn held_of(row: &Row<'_>) -> rusqlite::Result<Option<Held>> {
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
