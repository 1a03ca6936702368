//! One boat on the worklist: what is to be done, by when, what threatens, why, and whether the yard may; or, where it
//! has frozen already, that it is to be left and looked at.

use chrono::{DateTime, Utc};

use super::super::block::Row;
use super::super::phrases::Table;
use super::super::voice::{Voice, boat_name, key_of, location, place_code};
use super::super::words::{one_line, to_five_minutes, work};
use super::super::{cautions, deeds};
use super::input::WorklistBoat;
use crate::domain::boat::{DrainPermission, Holds};
use crate::domain::risk::CircuitRisk;
use crate::domain::yard::SiteKind;

/// Circuits named before "and 2 more".
const PARTS_NAMED: usize = 3;
/// Letters of the reason taken from the record.
const REASON_LETTERS: usize = 120;

/// Where it lies: `, UPPER U-3, afloat`.
fn whereabouts(voice: &Voice<'_>, entry: &WorklistBoat<'_>) -> String {
    let berth = location(&entry.boat.location);
    let mut words = format!(", {} {berth}", place_code(entry.site)).trim_end().to_owned();
    if entry.state.afloat && entry.site.kind != SiteKind::Afloat {
        // On record is where it will stand; where it lies now is not.
        return format!(
            ", {}, {}",
            voice.word(Table::Remark, "berth"),
            words.trim_start_matches(", ")
        );
    }
    if entry.state.afloat {
        words = format!("{words}, {}", voice.word(Table::Remark, "afloat"));
    }
    words
}

/// A boat with something left to prevent. `rows` are pressing and not frozen, the leading one first; `so_far` are the
/// minutes of the list down to this boat.
pub(super) fn to_do(
    voice: &Voice<'_>,
    number: usize,
    entry: &WorklistBoat<'_>,
    (rows, frozen): (&[CircuitRisk], &[CircuitRisk]),
    now: DateTime<Utc>,
    so_far: f64,
) -> Row {
    let minutes: f64 = rows.iter().map(|row| row.minutes.max(0.0)).sum();
    let start = rows.iter().filter_map(|row| row.latest_start).min();
    let when = match start {
        Some(start) if start > now => format!("start by {}", voice.soon(to_five_minutes(start))),
        _ => voice.word(Table::Remark, "late"),
    };
    let total =
        if so_far > minutes { format!(" ({} so far)", work(so_far)) } else { String::new() };
    let first = format!("{}: {when}, {}{total}", whereabouts(voice, entry), work(minutes));
    let onset = rows.iter().filter_map(|row| row.first_danger).filter(|at| *at > now).min();
    let mut second = deeds::lines(voice, rows, entry.state);
    if let Some(onset) = onset {
        second = format!("{second}; {} {}", voice.word(Table::Remark, "from"), voice.soon(onset));
    }
    if !frozen.is_empty() {
        let named = voice.parts(frozen, PARTS_NAMED);
        second = format!("{second}; {}: {named}", voice.word(Table::Remark, "frozen_parts"));
    }
    let mut third: Vec<String> = rows.first().map(|row| reason(voice, row)).into_iter().collect();
    third.extend(remarks(voice, entry));
    let told = one_line(entry.remark, 80);
    third.extend((!told.is_empty()).then_some(told));
    Row { number, boat: boat_name(&entry.boat.name), first, second, third: third.join("; ") }
}

/// A boat of which everything in danger has frozen: no minutes, no start.
pub(super) fn frozen(
    voice: &Voice<'_>,
    number: usize,
    entry: &WorklistBoat<'_>,
    rows: &[CircuitRisk],
) -> Row {
    let first = format!("{}: {}", whereabouts(voice, entry), voice.parts(rows, PARTS_NAMED));
    let mut second: Vec<String> = rows.first().map(|row| reason(voice, row)).into_iter().collect();
    let told = one_line(entry.remark, 80);
    second.extend((!told.is_empty()).then_some(told));
    Row {
        number,
        boat: boat_name(&entry.boat.name),
        first,
        second: second.join("; "),
        third: String::new(),
    }
}

/// Why it stands here: what the leading circuit holds, since when, on what evidence, and the entry behind it.
fn reason(voice: &Voice<'_>, row: &CircuitRisk) -> String {
    let part = voice.part(&row.circuit, row.instance.as_deref());
    let holds = voice.word(Table::Holds, &key_of(&row.holds));
    let since = row.since.filter(|_| row.holds != Holds::Unknown);
    let since = since.map_or_else(String::new, |since| format!(" since {}", voice.day(since)));
    let known = voice.evidence(row.holds, row.evidence);
    let known = known.map_or_else(String::new, |known| format!(" ({known})"));
    // The rows' reasons begin with what is said here, and with what has been computed; then comes the record.
    let entry = row.why.get(2).map(|why| one_line(why, REASON_LETTERS));
    let entry = entry.filter(|_| row.holds != Holds::Unknown);
    let entry = entry.map_or_else(String::new, |entry| format!(": {entry}"));
    let why = voice.word(Table::Remark, "why");
    format!("{why}: {part}, {holds}{since}{known}{entry}")
}

fn remarks(voice: &Voice<'_>, entry: &WorklistBoat<'_>) -> Vec<String> {
    let mut keys = match entry.boat.drain_permission {
        DrainPermission::Yes => vec!["may_drain"],
        DrainPermission::No | DrainPermission::Unknown => vec!["ask_first"],
        DrainPermission::NotApplicable => Vec::new(),
    };
    if entry.boat.has_enclosed_petrol() {
        keys.push("gasoline");
    }
    if cautions::is_covered(entry.state, entry.site) {
        keys.push("covered");
    }
    keys.into_iter().map(|key| voice.word(Table::Remark, key)).collect()
}
