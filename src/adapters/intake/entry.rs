//! One lay-up event made by hand: the same columns and the same checks as a row of the event table.

use chrono::{DateTime, FixedOffset};
use chrono_tz::Tz;

use super::amounts::{in_units, leading_number};
use super::csv::{EVENT_COLUMNS, events_of_sheet};
use super::layout::Layout;
use super::problems::ImportProblems;
use super::sheet::Sheet;
use super::{Imported, Known, dates};
use crate::adapters::intake::amounts::{LITRES_OF, MINUTES_OF, split_unit};
use crate::domain::boat::LayupEvent;
use crate::domain::catalogue::{Catalogue, nearest};

/// Reads one event from its cells, column name and text.
///
/// # Errors
/// [`ImportProblems`] lists everything that is wrong.
pub fn event(
    cells: &[(String, String)],
    known: &Known<'_>,
) -> Result<Imported<LayupEvent>, ImportProblems> {
    let sheet = Sheet::single("the entry", cells);
    let problems = sheet.hidden();
    if !problems.is_empty() {
        return Err(ImportProblems { file: sheet.file, problems });
    }
    events_of_sheet(&sheet, known)
}

/// A moment as people write it on a sheet, such as `10/26/2026 14:30` or `20 Oct 2026`, and whether its hour is known.
#[must_use]
pub fn moment(text: &str, zone: Tz) -> Option<(DateTime<FixedOffset>, bool)> {
    let order = Layout { zone: Some(zone), ..Layout::default() }.usual_order();
    dates::moment(text, order, Some(zone))
}

/// One `key=value` as people write it, as the cells that it fills.
///
/// # Errors
/// In words, with the nearest right name.
pub fn cells(word: &str, catalogue: &Catalogue) -> Result<Vec<(String, String)>, String> {
    let (key, value) = word.split_once('=').ok_or_else(|| {
        format!("{word:?} is not of the form key=value, such as circuits=block_raw or minutes=5")
    })?;
    let (key, value) = (key.trim(), value.trim());
    // A blank of the day sheet that nobody filled says nothing.
    if value.chars().all(|letter| letter == '_') {
        return Ok(Vec::new());
    }
    let key_lower = key.to_lowercase().replace([' ', '-'], "_");
    if ["cooling", "cooling_kind"].contains(&key_lower.as_str()) {
        return cooling(value, catalogue);
    }
    let column = match EVENT_COLUMNS.iter().find(|column| **column == key_lower) {
        Some(column) => *column,
        None => catalogue.field_in_words(key).ok_or_else(|| no_field(key))?,
    };
    if ["event_id", "boat_id", "event", "recorded_at", "happened_at", "time_precision"]
        .contains(&column)
    {
        return Err(format!(
            "{key} is not given as key=value: boat and event come first, the time is --happened, the id is made here"
        ));
    }
    let cell = |column: &str, text: String| (column.to_owned(), text);
    Ok(match column {
        "circuits" => vec![cell(column, circuits(value, catalogue)?)],
        "litres_in" | "litres_out" => vec![cell(column, in_units(value, &LITRES_OF))],
        "minutes" => vec![cell(column, in_units(value, &MINUTES_OF))],
        "reading_value" => match split_unit(value) {
            (reading, Some(unit)) => vec![cell(column, reading), cell("reading_unit", unit)],
            (reading, None) => vec![cell(column, reading)],
        },
        "percent" | "volts" => vec![cell(column, leading_number(value))],
        _ => vec![cell(column, value.to_owned())],
    })
}

/// How the engine is cooled, as the words of an answer.
fn cooling(value: &str, catalogue: &Catalogue) -> Result<Vec<(String, String)>, String> {
    let words = format!("cooling: {value}");
    if catalogue.cooling_in_words(&words, false).is_none() {
        return Err(format!(
            "cooling={value} says nothing that is known; say raw, raw_outboard, closed_half, closed_full or electric"
        ));
    }
    Ok(vec![("method".to_owned(), words)])
}

fn no_field(key: &str) -> String {
    let fields = EVENT_COLUMNS.iter().copied().filter(|column| *column != "event_id");
    match nearest(key, fields.clone()) {
        Some(like) => format!("no field is called {key}; the nearest is {like}"),
        None => {
            format!("no field is called {key}; there are {}", fields.collect::<Vec<_>>().join(" "))
        }
    }
}

fn circuits(value: &str, catalogue: &Catalogue) -> Result<String, String> {
    let mut ids: Vec<String> = Vec::new();
    for part in value.split([';', ',', '|', '+']).map(str::trim).filter(|part| !part.is_empty()) {
        let (circuit, instance) = part.split_once('#').unwrap_or((part, ""));
        let found = catalogue.circuits_in_words(circuit).map_err(|near| match near {
            Some(like) => format!("no circuit is called {circuit}; the nearest is {like}"),
            None => format!("no circuit is called {circuit}; rimeward boat lists those of a boat"),
        })?;
        for id in found {
            let tail = if instance.is_empty() { String::new() } else { format!("#{instance}") };
            ids.push(format!("{id}{tail}"));
        }
    }
    Ok(ids.join(";"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_read_as_people_write_them() {
        let catalogue = Catalogue::built_in().unwrap();
        let check = |word: &str, want: &[(&str, &str)]| {
            let got = cells(word, &catalogue).unwrap();
            let got: Vec<_> = got.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
            assert_eq!(got, want, "{word}");
        };
        check("out=4.2 gal", &[("litres_out", "15.90")]);
        check("litres_out=16,5 L", &[("litres_out", "16,5")]);
        check("reading=-25F", &[("reading_value", "-25"), ("reading_unit", "F")]);
        check("reading=-31.5 \u{b0}C", &[("reading_value", "-31.5"), ("reading_unit", "C")]);
        check("circuits=block, manifolds", &[("circuits", "block_raw;manifold_raw")]);
        check("part=ac_raw#saloon unit", &[("circuits", "ac_raw#saloon unit")]);
        check("open for=5 minutes", &[("minutes", "5")]);
        check("minutes=30 seconds", &[("minutes", "0.50")]);
        check("minutes=1 hour", &[("minutes", "60.00")]);
        check("out=8 pints", &[("litres_out", "3.79")]);
        check("out=500 ml", &[("litres_out", "0.50")]);
        check("out=4 imp gal", &[("litres_out", "18.18")]);
        // Refused by the reader, not taken for litres.
        check("out=2 buckets", &[("litres_out", "2 buckets")]);
        check("litres_out=____", &[]);
        check("cooling=half closed", &[("method", "cooling: half closed")]);
        let told = cells("cooling=warm", &catalogue).unwrap_err();
        assert!(told.contains("closed_full"), "{told}");
        let told = cells("circuits=blok", &catalogue).unwrap_err();
        assert!(told.contains("no circuit"), "{told}");
        let told = cells("litres_aut=3", &catalogue).unwrap_err();
        assert!(told.contains("litres_out"), "{told}");
    }
}
