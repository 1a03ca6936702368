//! The lay-up log: append-only, chained, with its free texts apart.

pub(super) mod chain;

use chrono::{DateTime, Utc};
use rusqlite::{CachedStatement, Connection, OptionalExtension as _, Row, Transaction, params};

use super::Store;
use super::column::{Millis, from_json, to_json};
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{Appended, Entry, EventLog, LogReport, Salt, StoreError};
use crate::domain::boat::{BoatId, Erased, EventId, LayupEvent, SiteId};

use chain::{FREE_TEXTS, GENESIS, Hashes, text_mut};

/// Columns that make up an [`Entry`]; the texts are gathered into one JSON object.
const ENTRY: &str = "SELECT log.seq, log.entered_ms, log.document,
        (SELECT json_group_object(field, text) FROM log_text WHERE log_text.seq = log.seq AND text IS NOT NULL)
    FROM log";

impl EventLog for Store {
    fn append_events(
        &self,
        events: &[LayupEvent],
        entered_at: DateTime<Utc>,
        salt: &mut dyn FnMut() -> Salt,
    ) -> Result<Appended, StoreError> {
        self.write("appending to the log", |tx| append(tx, events, entered_at, salt))
    }

    fn all_events(&self) -> Result<Vec<LayupEvent>, StoreError> {
        Ok(self.log_entries()?.into_iter().map(|entry| entry.event).collect())
    }

    fn log_entries(&self) -> Result<Vec<Entry>, StoreError> {
        let doing = "reading the log";
        let statement = format!("{ENTRY} ORDER BY log.seq");
        self.read(doing, |connection| entries(connection, &statement, [], doing))
    }

    fn erased_texts(&self) -> Result<Erased, StoreError> {
        let doing = "reading what was erased from the log";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT log.event_id, log_text.field FROM log_text JOIN log ON log.seq = log_text.seq
                     WHERE log_text.erased_ms IS NOT NULL",
                )
                .context(doing)?;
            let rows = statement
                .query_map([], |row| Ok((EventId::from(row.get::<_, String>(0)?), row.get(1)?)))
                .context(doing)?;
            rows.collect::<Result<Erased, _>>().context(doing)
        })
    }

    fn log_head(&self) -> Result<String, StoreError> {
        self.read("reading the head of the log", |connection| Ok(head(connection)?.1))
    }

    fn log_has(&self, hash: &str) -> Result<bool, StoreError> {
        let doing = "looking for a head in the log";
        self.read(doing, |connection| {
            connection
                .one_row("SELECT EXISTS (SELECT 1 FROM log WHERE hash = ?1)", [hash], |row| {
                    row.get(0)
                })
                .context(doing)
        })
    }

    fn verify_log(&self, boat: Option<&BoatId>) -> Result<LogReport, StoreError> {
        self.read("checking the log", |connection| chain::verify(connection, boat))
    }

    fn erase_text(
        &self,
        event: &EventId,
        field: &str,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let doing = "erasing a text of the log";
        self.write(doing, |tx| {
            let changed = tx
                .change(
                    "UPDATE log_text SET text = NULL, salt = NULL, erased_ms = ?3
                     WHERE seq = (SELECT seq FROM log WHERE event_id = ?1) AND field = ?2 AND text IS NOT NULL",
                    params![event.as_str(), field, Millis(now)],
                )
                .context(doing)?;
            if changed == 0 {
                return Err(StoreError::Refused(format!(
                    "event {event} has no text '{field}' to erase: it is one of {}",
                    FREE_TEXTS.join(", ")
                )));
            }
            Ok(())
        })
    }
}

/// Place and hash of the newest entry.
fn head(connection: &Connection) -> Result<(i64, String), StoreError> {
    let newest = connection
        .one_row("SELECT seq, hash FROM log ORDER BY seq DESC LIMIT 1", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()
        .context("reading the head of the log")?;
    Ok(newest.unwrap_or_else(|| (0, GENESIS.to_owned())))
}

fn entries(
    connection: &Connection,
    statement: &str,
    arguments: impl rusqlite::Params,
    doing: &str,
) -> Result<Vec<Entry>, StoreError> {
    let mut statement = connection.prepare_cached(statement).context(doing)?;
    let mut rows = statement.query(arguments).context(doing)?;
    let mut found = Vec::new();
    while let Some(row) = rows.next().context(doing)? {
        found.push(entry(row, doing)?);
    }
    Ok(found)
}

fn entry(row: &Row<'_>, doing: &str) -> Result<Entry, StoreError> {
    let seq = row.get(0).context(doing)?;
    let Millis(entered_at) = row.get(1).context(doing)?;
    let document: String = row.get(2).context(doing)?;
    let texts: String = row.get(3).context(doing)?;
    let mut event: LayupEvent = from_json(&document, doing)?;
    for (field, text) in from_json::<std::collections::BTreeMap<String, String>>(&texts, doing)? {
        if let Some(place) = text_mut(&mut event, &field) {
            *place = Some(text);
        }
    }
    Ok(Entry { seq, entered_at, event })
}

/// The statements that appending repeats, prepared once.
struct Writer<'a> {
    known: CachedStatement<'a>,
    insert: CachedStatement<'a>,
    insert_text: CachedStatement<'a>,
}

fn append(
    tx: &Transaction<'_>,
    events: &[LayupEvent],
    entered_at: DateTime<Utc>,
    salt: &mut dyn FnMut() -> Salt,
) -> Result<Appended, StoreError> {
    let doing = "appending to the log";
    let mut writer = Writer {
        known: tx.prepare_cached(&format!("{ENTRY} WHERE log.event_id = ?1")).context(doing)?,
        insert: tx
            .prepare_cached(
                "INSERT INTO log (seq, event_id, boat, site, happened_ms, recorded_ms, entered_ms, document, text_hashes, hash)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            )
            .context(doing)?,
        insert_text: tx
            .prepare_cached("INSERT INTO log_text (seq, field, salt, text) VALUES (?1, ?2, ?3, ?4)")
            .context(doing)?,
    };
    let (mut seq, mut hash) = head(tx)?;
    let mut counts = Appended::default();
    for event in events {
        if already_there(tx, &mut writer, event)? {
            counts.already_there += 1;
            continue;
        }
        seq += 1;
        hash = insert(&mut writer, event, seq, &hash, entered_at, salt)?;
        counts.added += 1;
    }
    Ok(counts)
}

fn insert(
    writer: &mut Writer<'_>,
    event: &LayupEvent,
    seq: i64,
    previous: &str,
    entered_at: DateTime<Utc>,
    salt: &mut dyn FnMut() -> Salt,
) -> Result<String, StoreError> {
    let doing = format!("appending event {} to the log", event.id);
    let mut bare = event.clone();
    let mut hashes = Hashes::new();
    let mut texts = Vec::new();
    for field in FREE_TEXTS {
        if let Some(text) = text_mut(&mut bare, field).and_then(Option::take) {
            let salt = chain::hex(&salt());
            hashes.insert(field.to_owned(), chain::text_hash(&salt, field, &text));
            texts.push((field, salt, text));
        }
    }
    let document = to_json(&bare, &doing)?;
    let hashes = to_json(&hashes, &doing)?;
    let hash = chain::row_hash(previous, seq, entered_at, &document, &hashes);
    writer
        .insert
        .execute(params![
            seq,
            event.id.as_str(),
            event.boat.as_ref().map(BoatId::as_str),
            event.site.as_ref().map(SiteId::as_str),
            Millis(event.happened_at),
            Millis(event.recorded_at),
            Millis(entered_at),
            document,
            hashes,
            hash,
        ])
        .context(&doing)?;
    for (field, salt, text) in texts {
        writer.insert_text.execute(params![seq, field, salt, text]).context(&doing)?;
    }
    Ok(hash)
}

/// Is the event in the log? A text that was erased since may say anything.
fn already_there(
    tx: &Transaction<'_>,
    writer: &mut Writer<'_>,
    event: &LayupEvent,
) -> Result<bool, StoreError> {
    let doing = "looking for an event in the log";
    let stored = {
        let mut rows = writer.known.query([event.id.as_str()]).context(doing)?;
        match rows.next().context(doing)? {
            Some(row) => entry(row, doing)?,
            None => return Ok(false),
        }
    };
    let mut given = event.clone();
    let mut statement = tx
        .prepare_cached("SELECT field FROM log_text WHERE seq = ?1 AND erased_ms IS NOT NULL")
        .context(doing)?;
    let mut erased = statement.query([stored.seq]).context(doing)?;
    while let Some(row) = erased.next().context(doing)? {
        let field: String = row.get(0).context(doing)?;
        if let Some(place) = text_mut(&mut given, &field) {
            *place = None;
        }
    }
    // Compared as they are stored: what JSON cannot tell apart is the same entry.
    if to_json(&given, doing)? == to_json(&stored.event, doing)? {
        Ok(true)
    } else {
        Err(StoreError::EventDiffers { id: event.id.to_string() })
    }
}
