//! A table that lacks a column says nothing about it: what is stored stays. What a blank cell takes away is said.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// Column and the field that it fills, for people: one name for both but where said.
const OF_PEOPLE: [(&str, &str); 10] = [
    ("email", "email"),
    ("phone", "phone"),
    ("text_consent", "text_consent"),
    ("consent_date", "consent_date"),
    ("sites", "sites"),
    ("quiet_from", "quiet_from"),
    ("quiet_to", "quiet_to"),
    ("escalation_order", "escalation_order"),
    ("tell_at_chance", "tell_at_chance"),
    ("units", "units"),
];

/// The same for boats; what follows from the type and the engine is guessed anew where the columns change.
const OF_BOATS: [(&str, &str); 9] = [
    ("owner_id", "owner"),
    ("care", "care"),
    ("drain_permission", "drain_permission"),
    ("location_in_site", "location"),
    ("haul_date", "haul_date"),
    ("planned_launch_date", "planned_launch"),
    ("work_ordered", "work_ordered"),
    ("volumes_l", "volumes_l"),
    ("circuits_fitted", "fitted"),
];

/// Fields whose loss may leave somebody without a word.
const TELLING: [&str; 3] = ["email", "sites", "owner"];

/// Which table.
#[derive(Debug, Clone, Copy)]
pub(super) enum Of {
    People,
    Boats,
}

/// Puts what is stored into the fields of the columns that the file lacks; the answer names what blank cells take away.
pub(super) fn keep_absent<T: Serialize + DeserializeOwned>(
    of: Of,
    rows: &mut [T],
    stored: &[T],
    columns: &[String],
    id: impl Fn(&T) -> String,
) -> Vec<String> {
    let table: &[(&str, &str)] = match of {
        Of::People => &OF_PEOPLE,
        Of::Boats => &OF_BOATS,
    };
    let mut notes = Vec::new();
    for row in rows {
        let own = id(row);
        let Some(before) = stored.iter().find(|old| id(old) == own) else { continue };
        let (Ok(before), Ok(mut after)) =
            (serde_json::to_value(before), serde_json::to_value(&*row))
        else {
            continue;
        };
        for (column, field) in table {
            let (Some(was), Some(slot)) = (before.get(field), after.get_mut(field)) else {
                continue;
            };
            if !columns.iter().any(|known| known == column) {
                *slot = was.clone();
            } else if TELLING.contains(field) && is_blank(slot) && !is_blank(was) {
                notes.push(format!("{own}: a blank {column} takes away {was}"));
            }
        }
        if let Ok(kept) = serde_json::from_value(after) {
            *row = kept;
        }
    }
    notes
}

fn is_blank(value: &Value) -> bool {
    match value {
        Value::Null => true,
        Value::String(text) => text.is_empty(),
        Value::Array(items) => items.is_empty(),
        _ => false,
    }
}
