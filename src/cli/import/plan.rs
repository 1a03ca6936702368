//! What an import does, row by row: added, changed in which fields, unchanged.

use std::collections::HashMap;

use serde::Serialize;
use serde_json::{Value, json};

use crate::domain::boat::Fate;

/// So many rows are named in the text; all of them stand in the JSON.
const NAMED_MAX: usize = 40;

/// What becomes of each row.
#[derive(Debug, Default)]
pub(super) struct Plan {
    pub(super) rows: Vec<(String, Fate)>,
}

impl Plan {
    /// Holds rows against what is stored, by id.
    pub(super) fn against<T: Serialize + PartialEq>(
        rows: &[T],
        stored: &[T],
        id: impl Fn(&T) -> &str,
    ) -> Self {
        let known: HashMap<&str, &T> = stored.iter().map(|old| (id(old), old)).collect();
        let fate = |row: &T| match known.get(id(row)) {
            None => Fate::Added,
            Some(old) if **old == *row => Fate::Unchanged,
            Some(old) => Fate::Changed(differing(*old, row)),
        };
        Self { rows: rows.iter().map(|row| (id(row).to_owned(), fate(row))).collect() }
    }

    pub(super) fn count(&self, wanted: impl Fn(&Fate) -> bool) -> usize {
        self.rows.iter().filter(|(_, fate)| wanted(fate)).count()
    }

    /// The counts in one line.
    pub(super) fn summary(&self) -> String {
        format!(
            "{} added, {} changed, {} unchanged",
            self.count(|fate| *fate == Fate::Added),
            self.count(|fate| matches!(fate, Fate::Changed(_))),
            self.count(|fate| *fate == Fate::Unchanged)
        )
    }

    /// A line for each row that is added or changed.
    pub(super) fn lines(&self) -> String {
        let mut text = String::new();
        let moved = self.rows.iter().filter(|(_, fate)| *fate != Fate::Unchanged);
        for (id, fate) in moved.clone().take(NAMED_MAX) {
            text += &match fate {
                Fate::Changed(what) if what.is_empty() => format!("  {id}: said again\n"),
                Fate::Changed(what) => format!("  {id}: changed: {}\n", what.join(", ")),
                Fate::Withdrawn(by) => format!("  {id}: stays withdrawn, by {by}\n"),
                _ => format!("  {id}: added\n"),
            };
        }
        let more = moved.count().saturating_sub(NAMED_MAX);
        if more > 0 {
            text += &format!("  and {more} more\n");
        }
        text
    }

    pub(super) fn json(&self) -> Value {
        let row = |(id, fate): &(String, Fate)| match fate {
            Fate::Added => json!({ "id": id, "fate": "added" }),
            Fate::Unchanged => json!({ "id": id, "fate": "unchanged" }),
            Fate::Withdrawn(by) => json!({ "id": id, "fate": "withdrawn", "by": by }),
            Fate::Changed(fields) => json!({ "id": id, "fate": "changed", "fields": fields }),
        };
        self.rows.iter().map(row).collect()
    }
}

fn differing<T: Serialize>(old: &T, new: &T) -> Vec<String> {
    let object = |value: &T| match serde_json::to_value(value) {
        Ok(Value::Object(fields)) => fields,
        _ => serde_json::Map::new(),
    };
    let (old, new) = (object(old), object(new));
    let short = |value: Option<&Value>| {
        let text = value.map_or_else(String::new, Value::to_string);
        let cut: String = text.chars().take(40).collect();
        if cut.len() < text.len() { format!("{cut}...") } else { cut }
    };
    new.iter()
        .filter(|(field, value)| old.get(*field) != Some(value))
        .map(|(field, value)| {
            format!("{field} {} -> {}", short(old.get(field)), short(Some(value)))
        })
        .collect()
}
