//! What is asked for, part by part: each by what it holds and where she is, never "all of them".

use super::phrases::{Phrases, Table};
use super::voice::Voice;
use super::words::list;
use crate::domain::alert::chance::SpokenChance;
use crate::domain::boat::BoatState;
use crate::domain::catalogue::{Deed, Doer};
use crate::domain::risk::CircuitRisk;

/// Parts of one request in a list before "and 2 more".
const PARTS_NAMED: usize = 3;

/// The deed for one row.
pub(super) fn deed<'a>(phrases: &'a Phrases, row: &CircuitRisk, state: &BoatState) -> &'a Deed {
    phrases.deeds.of(&row.circuit, row.holds, state.for_deeds(), row.frozen_now)
}

/// Rows by deed, in the order of the first of each; what can still be helped before what has frozen.
fn by_deed<'a, 'b>(
    phrases: &'a Phrases,
    rows: &'b [CircuitRisk],
    state: &BoatState,
) -> Vec<(&'a Deed, Vec<&'b CircuitRisk>)> {
    let mut groups: Vec<(&Deed, Vec<&CircuitRisk>)> = Vec::new();
    let ahead = rows.iter().filter(|row| !row.frozen_now);
    for row in ahead.chain(rows.iter().filter(|row| row.frozen_now)) {
        let deed = deed(phrases, row, state);
        match groups.iter_mut().find(|(known, _)| known.id == deed.id) {
            Some((_, of)) => of.push(row),
            None => groups.push((deed, vec![row])),
        }
    }
    groups
}

/// The deed of the subject: of the first part that can still be helped, else of the first.
pub(super) fn lead<'a, 'b>(
    phrases: &'a Phrases,
    rows: &'b [CircuitRisk],
    state: &BoatState,
) -> Option<(&'a Deed, &'b CircuitRisk)> {
    let row = rows.iter().find(|row| !row.frozen_now).or_else(|| rows.first())?;
    Some((deed(phrases, row, state), row))
}

/// The request of the subject with its object, in full or short.
pub(super) fn subject(
    voice: &Voice<'_>,
    (deed, row): (&Deed, &CircuitRisk),
    to_owner: bool,
    short: bool,
) -> String {
    let object = voice.word(Table::Object, row.circuit.as_str());
    let words =
        if short { deed.short_subject(to_owner).to_owned() } else { deed.subject(to_owner) };
    words.replace("{object}", &object)
}

/// One sentence for each deed, with all of its parts by name.
pub(super) fn requests(
    voice: &Voice<'_>,
    rows: &[CircuitRisk],
    state: &BoatState,
    (to_owner, yard): (bool, &str),
) -> Vec<String> {
    let sentence = |(deed, of): (&Deed, Vec<&CircuitRisk>)| {
        let parts = list(&names(voice, &of), of.len());
        format!("{}.", deed.words(to_owner).replace("{yard}", yard).replace("{parts}", &parts))
    };
    by_deed(voice.phrases, rows, state).into_iter().map(sentence).collect()
}

/// What to look at until somebody comes, where parts are not to be touched.
pub(super) fn look(phrases: &Phrases, rows: &[CircuitRisk], state: &BoatState) -> Option<String> {
    let deeds = rows.iter().map(|row| deed(phrases, row, state));
    deeds.map(|deed| &deed.look).find(|look| !look.is_empty()).cloned()
}

/// May an owner do all of it?
pub(super) fn is_an_owners(phrases: &Phrases, rows: &[CircuitRisk], state: &BoatState) -> bool {
    rows.iter().all(|row| deed(phrases, row, state).who == Doer::Owner)
}

/// `drain: engine block 60 %; test: engine coolant 20 %`, for the yard's lists.
pub(super) fn lines(voice: &Voice<'_>, rows: &[CircuitRisk], state: &BoatState) -> String {
    let line = |(deed, of): (&Deed, Vec<&CircuitRisk>)| {
        let parts: Vec<String> = of.iter().map(|row| with_chance(voice, row)).collect();
        format!("{}: {}", deed.list_words, list(&parts, PARTS_NAMED))
    };
    let lines: Vec<String> = by_deed(voice.phrases, rows, state).into_iter().map(line).collect();
    lines.join("; ")
}

fn names(voice: &Voice<'_>, rows: &[&CircuitRisk]) -> Vec<String> {
    rows.iter().map(|row| voice.part(&row.circuit, row.instance.as_deref())).collect()
}

fn with_chance(voice: &Voice<'_>, row: &CircuitRisk) -> String {
    let part = voice.part(&row.circuit, row.instance.as_deref());
    if row.frozen_now {
        return format!("{part} frozen");
    }
    format!("{part} {}", SpokenChance::of(row.chance_limit).number())
}
