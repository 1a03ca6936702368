//! One lay-up event made by hand: the same columns and the same checks as a row of the event table.

use chrono::{DateTime, FixedOffset};
use chrono_tz::Tz;

use super::csv::{EVENT_COLUMNS, events_of_sheet};
use super::dates;
use super::layout::Layout;
use super::problems::ImportProblems;
use super::row::number;
use super::sheet::Sheet;
use super::{Imported, Known};
use crate::domain::boat::LayupEvent;
use crate::domain::catalogue::{Catalogue, nearest};

/// Litres in a US gallon: 231 cubic inches of 25.4 mm.
const LITRES_PER_GALLON: f64 = 3.785_411_784;
/// Litres in an imperial gallon, by definition.
const LITRES_PER_IMPERIAL_GALLON: f64 = 4.546_09;

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

/// Litres of each unit that people write; US measures but where imperial is said.
pub(super) const LITRES_OF: [(&str, f64); 27] = [
    ("l", 1.0),
    ("lt", 1.0),
    ("ltr", 1.0),
    ("litre", 1.0),
    ("litres", 1.0),
    ("liter", 1.0),
    ("liters", 1.0),
    ("ml", 0.001),
    ("cl", 0.01),
    ("dl", 0.1),
    ("gal", LITRES_PER_GALLON),
    ("gals", LITRES_PER_GALLON),
    ("gallon", LITRES_PER_GALLON),
    ("gallons", LITRES_PER_GALLON),
    ("us gal", LITRES_PER_GALLON),
    ("imp gal", LITRES_PER_IMPERIAL_GALLON),
    ("imperial gal", LITRES_PER_IMPERIAL_GALLON),
    ("imperial gallons", LITRES_PER_IMPERIAL_GALLON),
    ("qt", LITRES_PER_GALLON / 4.0),
    ("qts", LITRES_PER_GALLON / 4.0),
    ("quart", LITRES_PER_GALLON / 4.0),
    ("quarts", LITRES_PER_GALLON / 4.0),
    ("pt", LITRES_PER_GALLON / 8.0),
    ("pint", LITRES_PER_GALLON / 8.0),
    ("pints", LITRES_PER_GALLON / 8.0),
    ("fl oz", LITRES_PER_GALLON / 128.0),
    ("oz", LITRES_PER_GALLON / 128.0),
];

/// Minutes of each unit that people write.
pub(super) const MINUTES_OF: [(&str, f64); 13] = [
    ("min", 1.0),
    ("mins", 1.0),
    ("minute", 1.0),
    ("minutes", 1.0),
    ("m", 1.0),
    ("h", 60.0),
    ("hr", 60.0),
    ("hrs", 60.0),
    ("hour", 60.0),
    ("hours", 60.0),
    ("s", 1.0 / 60.0),
    ("sec", 1.0 / 60.0),
    ("seconds", 1.0 / 60.0),
];

/// `4.2 gal` in litres, `30 seconds` in minutes; a figure alone stays as it is. A unit that nobody knows stays with its
/// figure, for the reader to refuse: it must not be taken for another.
pub(super) fn in_units(value: &str, units: &[(&str, f64)]) -> String {
    let lower = value.trim().trim_start_matches(['~', '\u{2248}']).trim().to_lowercase();
    let about = ["about ", "approx. ", "approx ", "ca. ", "ca "];
    let lower = about.iter().find_map(|word| lower.strip_prefix(word)).unwrap_or(&lower).trim();
    let figure = leading_number(lower);
    let unit = lower.get(figure.len()..).unwrap_or_default().trim().trim_end_matches('.');
    if unit.is_empty() {
        return figure;
    }
    let factor = units.iter().find(|(name, _)| *name == unit).map(|(_, factor)| *factor);
    match (factor, number(&figure)) {
        (Some(1.0), _) => figure,
        (Some(factor), Some(amount)) => format!("{:.2}", amount * factor),
        _ => value.to_owned(),
    }
}

/// The figure before a unit, or the whole text where there is none, for the reader to refuse.
fn leading_number(value: &str) -> String {
    let end = value
        .find(|letter: char| !(letter.is_ascii_digit() || "+-.,".contains(letter)))
        .unwrap_or(value.len());
    match value.get(..end) {
        Some(figure) if !figure.is_empty() => figure.to_owned(),
        _ => value.to_owned(),
    }
}

pub(super) fn split_unit(value: &str) -> (String, Option<String>) {
    let figure = leading_number(value);
    let rest = value.get(figure.len()..).unwrap_or_default();
    let unit = match rest.trim().trim_start_matches(['\u{b0}', ' ']).to_lowercase().as_str() {
        "c" | "degc" | "deg c" | "celsius" => Some("C".to_owned()),
        "f" | "degf" | "deg f" | "fahrenheit" => Some("F".to_owned()),
        "" => None,
        _ => return (value.to_owned(), None),
    };
    (figure, unit)
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
        let told = cells("circuits=blok", &catalogue).unwrap_err();
        assert!(told.contains("no circuit"), "{told}");
        let told = cells("litres_aut=3", &catalogue).unwrap_err();
        assert!(told.contains("litres_out"), "{told}");
    }
}
