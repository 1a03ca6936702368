//! The chain over the log: every row's hash covers the row before it.
//!
//! A free text enters only as the hash of its own salt and itself, and text and salt can be erased together: the
//! chain holds on, and without the salt nobody can guess a name back out of the hash. SHA-256 (FIPS 180-4) throughout.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use data_encoding::HEXLOWER;
use ring::digest::{Context, SHA256};
use rusqlite::Connection;

use crate::adapters::sqlite::column::{Millis, from_json};
use crate::adapters::sqlite::error::Doing as _;
use crate::app::ports::{Broken, LogReport, StoreError};
use crate::domain::boat::{BoatId, LayupEvent, SiteId};

/// What stands before the first row.
pub(super) const GENESIS: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// The fields in which a person may stand by name, or say anything.
pub(super) const FREE_TEXTS: [&str; 3] = ["note", "point", "who"];

/// Hash of each free text of a row, by field.
pub(super) type Hashes = BTreeMap<String, String>;

/// The place of a free text in an event.
pub(super) fn text_mut<'a>(
    event: &'a mut LayupEvent,
    field: &str,
) -> Option<&'a mut Option<String>> {
    match field {
        "note" => Some(&mut event.note),
        "point" => Some(&mut event.point),
        "who" => Some(&mut event.who),
        _ => None,
    }
}

pub(super) fn hex(bytes: &[u8]) -> String {
    HEXLOWER.encode(bytes)
}

/// Hash of one free text. Salt and field hold no line break, so the parts cannot be shifted into each other.
pub(super) fn text_hash(salt: &str, field: &str, text: &str) -> String {
    sha256(&[salt.as_bytes(), b"\n", field.as_bytes(), b"\n", text.as_bytes()])
}

/// Hash of one row. JSON text holds no raw line break, so the parts cannot be shifted into each other.
pub(super) fn row_hash(
    previous: &str,
    seq: i64,
    entered_at: DateTime<Utc>,
    document: &str,
    text_hashes: &str,
) -> String {
    let numbers = format!("\n{seq}\n{}\n", entered_at.timestamp_millis());
    sha256(&[
        previous.as_bytes(),
        numbers.as_bytes(),
        document.as_bytes(),
        b"\n",
        text_hashes.as_bytes(),
    ])
}

/// SHA-256 over the parts in order, in lower-case hexadecimal.
pub(in crate::adapters::sqlite) fn sha256(parts: &[&[u8]]) -> String {
    let mut context = Context::new(&SHA256);
    for part in parts {
        context.update(part);
    }
    hex(context.finish().as_ref())
}

/// A row as it stands in the table.
struct Stored {
    seq: i64,
    event_id: String,
    boat: Option<String>,
    site: Option<String>,
    happened: Millis,
    recorded: Millis,
    entered: Millis,
    document: String,
    text_hashes: String,
    hash: String,
}

pub(super) fn verify(
    connection: &Connection,
    boat: Option<&BoatId>,
) -> Result<LogReport, StoreError> {
    let doing = "checking the log";
    let mut texts = connection
        .prepare_cached("SELECT field, salt, text FROM log_text WHERE seq = ?1")
        .context(doing)?;
    let mut statement = connection
        .prepare_cached(
            "SELECT seq, event_id, boat, site, happened_ms, recorded_ms, entered_ms, document,
                text_hashes, hash
             FROM log ORDER BY seq",
        )
        .context(doing)?;
    let mut rows = statement.query([]).context(doing)?;
    let mut report = LogReport { head: GENESIS.to_owned(), rows: 0, first_broken: None };
    let (mut previous, mut last) = (GENESIS.to_owned(), 0);
    while let Some(row) = rows.next().context(doing)? {
        let row = stored(row).context(doing)?;
        if boat.is_none_or(|boat| row.boat.as_deref() == Some(boat.as_str())) {
            report.rows += 1;
            report.head.clone_from(&row.hash);
        }
        if report.first_broken.is_none() {
            let why = match what_is_wrong(&row, &previous, last) {
                Some(why) => Some(why),
                None => wrong_text(&mut texts, &row)?,
            };
            report.first_broken =
                why.map(|why| Broken { seq: row.seq, event: row.event_id.clone(), why });
        }
        last = row.seq;
        previous = row.hash;
    }
    Ok(report)
}

fn stored(row: &rusqlite::Row<'_>) -> rusqlite::Result<Stored> {
    Ok(Stored {
        seq: row.get(0)?,
        event_id: row.get(1)?,
        boat: row.get(2)?,
        site: row.get(3)?,
        happened: row.get(4)?,
        recorded: row.get(5)?,
        entered: row.get(6)?,
        document: row.get(7)?,
        text_hashes: row.get(8)?,
        hash: row.get(9)?,
    })
}

/// Checks one row against the row before and its own columns against its document.
fn what_is_wrong(row: &Stored, previous: &str, last: i64) -> Option<String> {
    if row.seq != last + 1 {
        return Some(format!("row {} is missing", last + 1));
    }
    let hash = row_hash(previous, row.seq, row.entered.0, &row.document, &row.text_hashes);
    if hash != row.hash {
        return Some("the row or the one before it was changed after it was entered".to_owned());
    }
    let Ok(event) = from_json::<LayupEvent>(&row.document, "checking the log") else {
        return Some("the row cannot be read by this version".to_owned());
    };
    let agrees = event.id.as_str() == row.event_id
        && event.boat.as_ref().map(BoatId::as_str) == row.boat.as_deref()
        && event.site.as_ref().map(SiteId::as_str) == row.site.as_deref()
        && event.happened_at.timestamp_millis() == row.happened.0.timestamp_millis()
        && event.recorded_at.timestamp_millis() == row.recorded.0.timestamp_millis();
    (!agrees).then(|| "the key columns were changed after the row was entered".to_owned())
}

/// Checks the free texts of a row: each there with the hash that the chain covers, or erased.
fn wrong_text(
    texts: &mut rusqlite::Statement<'_>,
    row: &Stored,
) -> Result<Option<String>, StoreError> {
    let doing = "checking the texts of the log";
    let mut expected: Hashes = from_json(&row.text_hashes, doing)?;
    let mut rows = texts.query([row.seq]).context(doing)?;
    while let Some(text) = rows.next().context(doing)? {
        let field: String = text.get(0).context(doing)?;
        let salt: Option<String> = text.get(1).context(doing)?;
        let words: Option<String> = text.get(2).context(doing)?;
        let Some(hash) = expected.remove(&field) else {
            return Ok(Some(format!("the text '{field}' was added after the row was entered")));
        };
        match (salt, words) {
            (None, None) => {}
            (Some(salt), Some(words)) if text_hash(&salt, &field, &words) == hash => {}
            _ => {
                return Ok(Some(format!("the text '{field}' was changed after it was entered")));
            }
        }
    }
    Ok(expected.keys().next().map(|field| format!("the text '{field}' is missing")))
}
