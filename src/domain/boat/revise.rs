//! A sheet that comes again: what is new in it, what stands in the log already, what was changed.
//!
//! The log is never edited. A changed row withdraws the entry that it changes by a correction and is entered anew under the
//! next version of its id (`E7`, `E7~2`, ...); both are recorded now, so that what was known before stays what was known.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Utc};

use super::{EventId, Evidence, LayupEvent};

/// What becomes of one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// Not in the log yet.
    Added,
    /// In the log just so.
    Unchanged,
    /// In the log with other content: these fields.
    Changed(Vec<String>),
}

/// What a sheet does to the log.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Revision {
    /// Entries to append, in order.
    pub append: Vec<LayupEvent>,
    /// What becomes of each row, in the order of the sheet.
    pub fates: Vec<(EventId, Fate)>,
}

/// Free texts that were erased from the log: id of the entry and name of the field.
pub type Erased = BTreeSet<(EventId, String)>;

const VERSION_MARK: char = '~';

/// Holds the rows of a sheet against the log. When the yard learnt of a row (`recorded_at`) is kept as first stated, and a
/// text that was erased since is not brought back.
#[must_use]
pub fn revise(
    rows: &[LayupEvent],
    log: &[LayupEvent],
    erased: &Erased,
    now: DateTime<Utc>,
) -> Revision {
    let mut newest: HashMap<&str, (usize, &LayupEvent)> = HashMap::new();
    for entry in log {
        let (base, version) = split(entry.id.as_str());
        let known = newest.entry(base).or_insert((version, entry));
        if version >= known.0 {
            *known = (version, entry);
        }
    }
    let mut revision = Revision::default();
    for row in rows {
        let fate = match newest.get(row.id.as_str()) {
            None => {
                revision.append.push(row.clone());
                Fate::Added
            }
            Some((version, entry)) => {
                let fields = changed_fields(row, entry, erased);
                if fields.is_empty() {
                    Fate::Unchanged
                } else {
                    let id = EventId::from(format!("{}{VERSION_MARK}{}", row.id, version + 1));
                    revision.append.push(withdrawal(entry, &id, now));
                    revision.append.push(LayupEvent { id, recorded_at: now, ..row.clone() });
                    Fate::Changed(fields)
                }
            }
        };
        revision.fates.push((row.id.clone(), fate));
    }
    revision
}

/// The id of the row, and which version of it.
fn split(id: &str) -> (&str, usize) {
    id.rsplit_once(VERSION_MARK)
        .and_then(|(base, version)| Some((base, version.parse().ok()?)))
        .unwrap_or((id, 1))
}

/// The fields in which a row says something else than its entry.
fn changed_fields(row: &LayupEvent, entry: &LayupEvent, erased: &Erased) -> Vec<String> {
    let alike = LayupEvent { id: entry.id.clone(), recorded_at: entry.recorded_at, ..row.clone() };
    if alike == *entry {
        return Vec::new();
    }
    let (Ok(serde_json::Value::Object(new)), Ok(serde_json::Value::Object(old))) =
        (serde_json::to_value(&alike), serde_json::to_value(entry))
    else {
        return vec!["content".to_owned()];
    };
    let is_erased = |field: &str| erased.contains(&(entry.id.clone(), field.to_owned()));
    new.into_iter()
        .filter(|(field, value)| old.get(field) != Some(value) && !is_erased(field))
        .map(|(field, _)| field)
        .collect()
}

/// The correction that withdraws an entry, so that its next version can stand for it.
fn withdrawal(entry: &LayupEvent, next: &EventId, now: DateTime<Utc>) -> LayupEvent {
    let id = EventId::from(format!("{next}-withdraws"));
    let happened = entry.happened_at.fixed_offset();
    LayupEvent {
        happened_offset_s: entry.happened_offset_s,
        precision: entry.precision,
        recorded_at: now,
        boat: entry.boat.clone(),
        site: entry.site.clone(),
        corrects: Some(entry.id.clone()),
        method: Some("void".to_owned()),
        sheet: entry.sheet.clone(),
        note: Some(format!("the row was changed in the sheet; {next} stands for it")),
        ..LayupEvent::blank(id, "correction".to_owned(), happened, Evidence::None)
    }
}
