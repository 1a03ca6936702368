//! Wide sheets: a row for each boat, a column for each job, a tick where somebody says that it was done.
//!
//! A tick is claimed and nothing more. What was ordered makes no event; it is told, so that nobody takes it for done.

use chrono::{DateTime, FixedOffset};

use super::csv::Ids;
use super::dates;
use super::layout::TickColumn;
use super::problems::ImportProblems;
use super::row::Row;
use super::sheet::Sheet;
use super::{Imported, Known, remarks};
use crate::domain::boat::{BoatId, Evidence, LayupEvent, Precision};
use crate::domain::catalogue::TickMeaning;

/// Columns of a wide sheet besides those of ticks.
const COLUMNS: [&str; 7] =
    ["boat_id", "boat_name", "happened_at", "recorded_at", "who", "note", "sheet_id"];
/// Initials have so many letters at most.
const INITIALS_MAX: usize = 4;

/// Has the sheet a column of ticks?
pub(super) fn has_ticks(sheet: &Sheet, known: &Known<'_>) -> bool {
    known.layout.ticks.iter().any(|tick| sheet.column(&tick.heading).is_some())
}

/// What one cell says.
struct Cell<'a> {
    meaning: TickMeaning,
    who: Option<&'a str>,
    date: Option<(DateTime<FixedOffset>, bool)>,
}

/// The entries that the ticks of a sheet claim.
///
/// # Errors
/// [`ImportProblems`] lists every bad cell; nothing is taken then.
pub(super) fn events(
    sheet: &Sheet,
    known: &Known<'_>,
) -> Result<Imported<LayupEvent>, ImportProblems> {
    sheet.require(&["boat_id"])?;
    let mut columns: Vec<&str> = COLUMNS.to_vec();
    columns.extend(known.layout.ticks.iter().map(|tick| tick.heading.as_str()));
    let mut notes = sheet.notes(&columns);
    let (mut problems, mut ids, mut events) = (Vec::new(), Ids::default(), Vec::new());
    for (line, record) in &sheet.rows {
        let mut row = Row { sheet, record, line: *line, problems: &mut problems };
        let Some(boat) = row.required("boat_id").map(BoatId::from) else { continue };
        if let Some(boats) = known.boats.as_ref().filter(|boats| !boats.contains_key(&boat)) {
            let remedy = row.unknown("boat", boat.as_str(), boats.keys().map(BoatId::as_str));
            row.refuse("boat_id", remedy);
            continue;
        }
        if let Some(note) = row.text("note").and_then(|n| remarks::noticed(n, known.catalogue)) {
            notes.push(format!("line {line}, {boat}: {note}"));
        }
        for tick in &known.layout.ticks {
            let told = cell(&mut row, tick, &boat, known).map(|cell| (cell.meaning, cell));
            match told {
                Some((TickMeaning::Done | TickMeaning::Declined, cell)) => {
                    events.extend(event(&mut row, tick, &boat, &cell, known, &mut ids));
                }
                Some((TickMeaning::Ordered, _)) => notes.push(format!(
                    "line {line}, {boat}: {} is ordered and not done; no entry is made",
                    tick.heading
                )),
                _ => {}
            }
        }
    }
    if problems.is_empty() {
        Ok(Imported { rows: events, notes, columns: sheet.columns() })
    } else {
        Err(ImportProblems { file: sheet.file.clone(), problems })
    }
}

/// Short words that are nobody's initials and do not say that it is done: the cell is refused rather than believed.
const NO_INITIALS: [&str; 34] = [
    "not", "no", "non", "tbd", "tbc", "todo", "to", "do", "skip", "fail", "void", "half", "wait",
    "need", "bad", "hold", "ask", "see", "part", "some", "left", "open", "next", "soon", "late",
    "never", "why", "who", "if", "or", "but", "was", "is", "be",
];

/// `x`, `done`, `JB`, `10/14`, `JB 10/14`, `done 10/14 JB`; `None` where the cell is blank or was refused.
fn cell<'a>(
    row: &mut Row<'a>,
    tick: &TickColumn,
    boat: &BoatId,
    known: &Known<'_>,
) -> Option<Cell<'a>> {
    let text = row.text(&tick.heading)?;
    let zone = known.zone(Some(boat), None);
    if let Some(meaning) = known.catalogue.tick(text) {
        return Some(Cell { meaning, who: None, date: None });
    }
    let mut cell = Cell { meaning: TickMeaning::Done, who: None, date: None };
    if let Some(date) = dates::moment(text, row.sheet.order, zone) {
        return Some(Cell { date: Some(date), ..cell });
    }
    for word in text.split_whitespace().map(|word| word.trim_matches([',', ';', '(', ')'])) {
        let date = dates::moment(word, row.sheet.order, zone);
        let no_name = NO_INITIALS.contains(&word.to_lowercase().as_str());
        let initials = !no_name
            && word.chars().filter(|letter| *letter != '.').count() <= INITIALS_MAX
            && word.chars().all(|letter| letter.is_alphabetic() || letter == '.');
        match (known.catalogue.tick(word), date) {
            (Some(meaning), _) => cell.meaning = meaning,
            (None, Some(date)) => cell.date = Some(date),
            (None, None) if initials && !word.is_empty() && cell.who.is_none() => {
                cell.who = Some(word);
            }
            (None, None) => {
                row.refuse(
                    &tick.heading,
                    "must be x, done, initials or a date; ordered, no or declined; or blank",
                );
                return None;
            }
        }
    }
    Some(cell)
}

fn event(
    row: &mut Row<'_>,
    tick: &TickColumn,
    boat: &BoatId,
    cell: &Cell<'_>,
    known: &Known<'_>,
    ids: &mut Ids,
) -> Option<LayupEvent> {
    let zone = known.zone(Some(boat), None);
    let own = cell.date.or_else(|| {
        row.text("happened_at").and_then(|text| dates::moment(text, row.sheet.order, zone))
    });
    let Some((happened, hour_known)) = own else {
        row.refuse(
            &tick.heading,
            "nobody says when: write the day into the cell or fill a column happened_at",
        );
        return None;
    };
    if known.now.is_some_and(|now| {
        happened.date_naive() > now.with_timezone(happened.offset()).date_naive()
    }) {
        row.refuse(&tick.heading, "lies in the future: tick it when it is done");
        return None;
    }
    let declined = cell.meaning == TickMeaning::Declined;
    let text = |column: &str| row.text(column).map(str::to_owned);
    let recorded = row
        .text("recorded_at")
        .and_then(|text| dates::moment(text, row.sheet.order, zone))
        .map(|(at, _)| at.to_utc());
    let written = row.text(&tick.heading).unwrap_or_default();
    let id = ids.id(&format!("{boat}|{}|{}", tick.heading, happened.date_naive()));
    let kind = if declined { "declined".to_owned() } else { tick.kind.clone() };
    Some(LayupEvent {
        precision: if hour_known { Precision::Minute } else { Precision::Day },
        recorded_at: recorded.or(known.now).unwrap_or(happened.to_utc()),
        boat: Some(boat.clone()),
        circuits: tick.circuits.clone(),
        who: cell.who.map(str::to_owned).or_else(|| text("who")),
        sheet: text("sheet_id"),
        note: Some(match text("note") {
            Some(note) => format!("{}: {written}; {note}", tick.heading),
            None => format!("{}: {written}", tick.heading),
        }),
        ..LayupEvent::blank(id, kind, happened, Evidence::Claimed)
    })
}
