//! Wide sheets: a row for each boat, a column for each job, a tick where somebody says that it was done.
//!
//! A tick is claimed and nothing more. What was ordered makes no event; it is told, so that nobody takes it for done.

use chrono::{DateTime, Datelike as _, FixedOffset};
use chrono_tz::Tz;

use super::ids::Ids;
use super::layout::TickColumn;
use super::problems::ImportProblems;
use super::row::Row;
use super::sheet::Sheet;
use super::{Imported, Known, dates, remarks};
use crate::domain::boat::{BoatId, EventId, Evidence, LayupEvent, Precision, TAKEN_BACK};
use crate::domain::catalogue::TickMeaning;

/// Columns of a wide sheet besides those of ticks.
const COLUMNS: [&str; 7] =
    ["boat_id", "boat_name", "happened_at", "recorded_at", "who", "note", "sheet_id"];
/// Initials have so many letters at most.
const INITIALS_MAX: usize = 3;

/// Has the sheet a column of ticks?
pub(super) fn has_ticks(sheet: &Sheet, known: &Known<'_>) -> bool {
    known.layout.ticks.iter().any(|tick| sheet.column(&tick.heading).is_some())
}

/// What one cell says.
struct Cell<'a> {
    meaning: TickMeaning,
    /// Did a word say so?
    said: bool,
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
        let Some(boat) = row.required("boat_id").map(|told| known.boat(told)) else { continue };
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
                Some((meaning @ (TickMeaning::Ordered | TickMeaning::No), cell)) => {
                    let back = taken_back(&mut row, tick, &boat, &cell, known);
                    notes.push(match (&back, meaning) {
                        (Some(_), _) => format!(
                            "line {line}, {boat}: {} is no longer ticked; the entry is withdrawn",
                            tick.heading
                        ),
                        (None, TickMeaning::Ordered) => format!(
                            "line {line}, {boat}: {} is ordered and not done; no entry is made",
                            tick.heading
                        ),
                        _ => continue,
                    });
                    events.extend(back);
                }
                None => notes.extend(cleared(&row, tick, &boat, known)),
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

/// Short words in capitals that are nobody's initials and do not say that it is done.
const NO_INITIALS: [&str; 30] = [
    "not", "no", "non", "tbd", "tbc", "to", "do", "bad", "ask", "see", "why", "who", "if", "or",
    "but", "was", "is", "be", "nd", "wip", "dnf", "na", "nr", "ns", "req", "sch", "hld", "pnd",
    "inc", "ooo",
];

/// `✔JP` is a mark and initials.
fn marks_apart(word: &str) -> impl Iterator<Item = &str> {
    let end = word.find(|letter: char| letter.is_alphanumeric()).unwrap_or(0);
    let (mark, rest) = word.split_at(end);
    [mark, rest].into_iter().filter(|part| !part.is_empty())
}

/// Beside a word that says that it is done, a name may be anybody's: a capital and letters, and no word that says otherwise.
fn is_a_name(word: &str) -> bool {
    let capital = word.chars().next().is_some_and(char::is_uppercase);
    let letters = word.chars().all(|letter| letter.is_alphabetic() || letter == '.');
    capital && letters && !NO_INITIALS.contains(&word.to_lowercase().as_str())
}

/// Is a word somebody's initials? Those of a person in the store; where nobody is listed, two or three capitals that are no
/// word. What only looks like initials is refused rather than believed.
fn are_initials(word: &str, known: &Known<'_>) -> bool {
    let plain: String = word.chars().filter(|letter| *letter != '.').collect();
    if !plain.chars().all(char::is_alphabetic) {
        return false;
    }
    let low = plain.to_lowercase();
    if !known.initials.is_empty() {
        return known.initials.contains(&low);
    }
    (2..=INITIALS_MAX).contains(&plain.chars().count())
        && plain.chars().all(char::is_uppercase)
        && !NO_INITIALS.contains(&low.as_str())
}

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
        return Some(Cell { meaning, said: true, who: None, date: None });
    }
    let mut cell = Cell { meaning: TickMeaning::Done, said: false, who: None, date: None };
    let mut rest = Vec::new();
    for word in text.split_whitespace() {
        let word = word.trim_matches([',', ';', '(', ')']);
        let date = dates::moment(word, row.sheet.order, zone);
        match date.or_else(|| this_season(word, row, zone, known)) {
            Some(date) => cell.date = Some(date),
            None => rest.push(word),
        }
    }
    if let Some(date) = dates::moment(text, row.sheet.order, zone) {
        return Some(Cell { date: Some(date), ..cell });
    }
    let right = "must be x, done, done JB, the initials of somebody in the table of people, or a date; ordered, no or declined; or blank";
    let words = rest.iter().flat_map(|word| word.split(['/', '&', '+', ',', ';', '(', ')']));
    let words = words.flat_map(marks_apart).map(|word| word.trim_end_matches(['!', '.']));
    for word in words {
        // A dash between two words, `by` before a name.
        let filler = word.eq_ignore_ascii_case("by") || !word.chars().any(char::is_alphanumeric);
        let mark = known.catalogue.tick(word).is_some_and(|meaning| meaning == TickMeaning::Done);
        if filler && !mark {
            continue;
        }
        if let Some(meaning) = known.catalogue.tick(word) {
            // `ordered x`, `ok no`: nobody knows which of the two.
            if cell.said && cell.meaning != meaning {
                row.refuse(&tick.heading, right);
                return None;
            }
            (cell.meaning, cell.said) = (meaning, true);
            continue;
        }
        let name = cell.said && is_a_name(word);
        if !word.is_empty() && (name || are_initials(word, known)) {
            // Of two who did it the first is kept.
            cell.who = cell.who.or(Some(word));
            continue;
        }
        row.refuse(&tick.heading, right);
        return None;
    }
    // A mark that nobody knows, such as an empty box, says nothing.
    if !cell.said && cell.who.is_none() && cell.date.is_none() {
        row.refuse(&tick.heading, right);
        return None;
    }
    Some(cell)
}

/// `10/14` of the season that the row belongs to: the nearest such day to the row's own date, else the latest that is not
/// still to come.
fn this_season(
    word: &str,
    row: &Row<'_>,
    zone: Option<Tz>,
    known: &Known<'_>,
) -> Option<(DateTime<FixedOffset>, bool)> {
    let now = known.now?;
    let (first, second) = word.split_once(['/', '-', '.'])?;
    let numbers = [first, second].map(|part| part.len() <= 2 && part.parse::<u32>().is_ok());
    if numbers != [true, true] {
        return None;
    }
    let mark = if word.contains('.') { '.' } else { '/' };
    let of_year = |year: i32| {
        let day =
            dates::moment(&format!("{first}{mark}{second}{mark}{year}"), row.sheet.order, zone)?;
        (day.0.date_naive() <= now.with_timezone(day.0.offset()).date_naive()).then_some(day)
    };
    let own = row.text("happened_at").and_then(|text| dates::moment(text, row.sheet.order, zone));
    match own {
        Some((own, _)) => {
            let days = [own.year() - 1, own.year(), own.year() + 1].into_iter().filter_map(of_year);
            days.min_by_key(|(day, _)| (*day - own).num_days().abs())
        }
        None => [now.year(), now.year() - 1].into_iter().find_map(of_year),
    }
}

/// The moment that a cell or its row names.
fn when(row: &Row<'_>, cell: &Cell<'_>, zone: Option<Tz>) -> Option<(DateTime<FixedOffset>, bool)> {
    cell.date.or_else(|| {
        row.text("happened_at").and_then(|text| dates::moment(text, row.sheet.order, zone))
    })
}

/// A cell that is blank now and was ticked when the sheet came before: the entry stands, and somebody should know.
fn cleared(row: &Row<'_>, tick: &TickColumn, boat: &BoatId, known: &Known<'_>) -> Option<String> {
    if row.text(&tick.heading).is_some() {
        return None;
    }
    let zone = known.zone(Some(boat), None);
    let text = row.text("happened_at")?;
    let (happened, _) = dates::moment(text, row.sheet.order, zone)?;
    let id = Ids::default().id(&about(boat, tick, happened));
    known.events.contains_key(&id).then(|| {
        format!(
            "line {}, {boat}: {} was ticked before and is blank now; its entry {id} stands: write no into the cell to take it back",
            row.line, tick.heading
        )
    })
}

fn about(boat: &BoatId, tick: &TickColumn, happened: DateTime<FixedOffset>) -> String {
    format!("{boat}|{}|{}", tick.heading, happened.date_naive())
}

/// The withdrawal of an earlier tick that the sheet no longer shows.
fn taken_back(
    row: &mut Row<'_>,
    tick: &TickColumn,
    boat: &BoatId,
    cell: &Cell<'_>,
    known: &Known<'_>,
) -> Option<LayupEvent> {
    let (happened, hour_known) = when(row, cell, known.zone(Some(boat), None))?;
    let ticked = Ids::default().id(&about(boat, tick, happened));
    known.events.contains_key(&ticked).then(|| LayupEvent {
        precision: if hour_known { Precision::Minute } else { Precision::Day },
        recorded_at: known.now.unwrap_or(happened.to_utc()),
        boat: Some(boat.clone()),
        corrects: Some(ticked.clone()),
        method: Some("void".to_owned()),
        sheet: row.text("sheet_id").map(str::to_owned),
        note: Some(format!(
            "{}: {}; no longer ticked in the sheet",
            tick.heading,
            row.text(&tick.heading).unwrap_or_default()
        )),
        ..LayupEvent::blank(
            EventId::from(format!("{ticked}{TAKEN_BACK}")),
            "correction".to_owned(),
            happened,
            Evidence::None,
        )
    })
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
    let Some((happened, hour_known)) = when(row, cell, zone) else {
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
    if let Some(Some(from)) = known.boats.as_ref().and_then(|boats| boats.get(boat))
        && happened.date_naive() < *from
    {
        row.refuse(
            &tick.heading,
            format!("lies before the boat existed, which was not before {from}"),
        );
        return None;
    }
    let declined = cell.meaning == TickMeaning::Declined;
    let text = |column: &str| row.text(column).map(str::to_owned);
    let recorded = row
        .text("recorded_at")
        .and_then(|text| dates::moment(text, row.sheet.order, zone))
        .map(|(at, _)| at.to_utc());
    let written = row.text(&tick.heading).unwrap_or_default();
    let id = ids.id(&about(boat, tick, happened));
    let kind = if declined { "declined".to_owned() } else { tick.kind.clone() };
    Some(LayupEvent {
        precision: if hour_known { Precision::Minute } else { Precision::Day },
        recorded_at: recorded.or(known.now).unwrap_or(happened.to_utc()),
        boat: Some(boat.clone()),
        circuits: if declined && tick.circuits.is_empty() {
            known.catalogue.default_circuits(&tick.kind)
        } else {
            tick.circuits.clone()
        },
        who: cell.who.map(str::to_owned).or_else(|| text("who")),
        sheet: text("sheet_id"),
        note: Some(match text("note") {
            Some(note) => format!("{}: {written}; {note}", tick.heading),
            None => format!("{}: {written}", tick.heading),
        }),
        ..LayupEvent::blank(id, kind, happened, Evidence::Claimed)
    })
}
