//! A table that lacks a column says nothing about it: what is stored stays. What a blank cell takes away is said.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// The columns any of which fills a field, and the field.
type Fills = (&'static [&'static str], &'static str);

const OF_PEOPLE: [Fills; 11] = [
    (&["charts"], "charts"),
    (&["email"], "email"),
    (&["phone"], "phone"),
    (&["text_consent"], "text_consent"),
    (&["consent_date"], "consent_date"),
    (&["sites"], "sites"),
    (&["quiet_from"], "quiet_from"),
    (&["quiet_to"], "quiet_to"),
    (&["escalation_order"], "escalation_order"),
    (&["tell_at_chance"], "tell_at_chance"),
    (&["units"], "units"),
];

const OF_BOATS: [Fills; 19] = [
    (&["owner_id"], "owner"),
    (&["care"], "care"),
    (&["drain_permission"], "drain_permission"),
    (&["location_in_site"], "location"),
    (&["haul_date"], "haul_date"),
    (&["planned_launch_date"], "planned_launch"),
    (&["work_ordered"], "work_ordered"),
    (&["volumes_l"], "volumes_l"),
    (&["circuits_fitted"], "fitted"),
    (&["circuits_fitted"], "instances"),
    (&["circuits_fitted"], "fitting"),
    (&["hull_id"], "hull_id"),
    (&["loa_m", "loa_ft", "length"], "length_m"),
    (&["keys_location"], "keys"),
    (&["yard_notes"], "notes"),
    (&["boat_type", "engine_desc"], "kind"),
    (&["cooling_kind", "engine_desc"], "cooling"),
    (&["fuel", "engine_desc"], "fuel"),
    (&["engine_count", "engine_desc"], "engines"),
];

const OF_SITES: [Fills; 13] = [
    (&["site_name"], "name"),
    (&["elevation_m"], "elevation_m"),
    (&["terrain"], "terrain"),
    (&["water_kind"], "water_kind"),
    (&["heat_setpoint_c"], "heat_setpoint"),
    (&["power_needed"], "power_needed"),
    (&["night_offset_c"], "night_offset_k"),
    (&["soak_hours"], "soak_hours"),
    (&["soak_outside_c"], "soak_outside"),
    (&["water_temperature_c"], "water_temperature_c"),
    (&["travel_minutes"], "travel_minutes"),
    (&["duty_phone"], "duty_phone"),
    (&["notes"], "notes"),
];

/// Fields whose loss may leave somebody without a word.
const TELLING: [&str; 3] = ["email", "sites", "owner"];

/// Which table.
#[derive(Debug, Clone, Copy)]
pub(super) enum Of {
    People,
    Boats,
    Sites,
}

/// Puts what is stored into the fields of the columns that the file lacks; the answer names what blank cells take away.
pub(super) fn keep_absent<T: Serialize + DeserializeOwned>(
    of: Of,
    rows: &mut [T],
    stored: &[T],
    columns: &[String],
    id: impl Fn(&T) -> String,
) -> Vec<String> {
    let table: &[Fills] = match of {
        Of::People => &OF_PEOPLE,
        Of::Boats => &OF_BOATS,
        Of::Sites => &OF_SITES,
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
        for (filling, field) in table {
            let (Some(was), Some(slot)) = (before.get(field), after.get_mut(field)) else {
                continue;
            };
            let column = filling.first().copied().unwrap_or(field);
            if !columns.iter().any(|known| filling.contains(&known.as_str())) {
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
