//! What an entry changes, in words and for programs: two foldings of one boat compared.

use serde_json::{Value, json};

use crate::cli::boat::{grade, holds_to, in_words, name};
use crate::domain::boat::{BoatState, CircuitState};
use crate::domain::catalogue::Catalogue;
use crate::domain::units::Celsius;
use crate::domain::yard::Site;

/// The difference between two states of a boat.
#[derive(Debug, Default)]
pub(super) struct Change {
    /// One line each: what is another now.
    pub(super) lines: Vec<String>,
    /// Why, and what is asked, where it is new: the words, and the parts that they are told of.
    pub(super) remarks: Vec<(String, Vec<String>)>,
    /// The circuits that changed, for programs.
    pub(super) circuits: Vec<Value>,
}

impl Change {
    /// Compares the state without the entry to the state with it.
    pub(super) fn between(
        before: &BoatState,
        after: &BoatState,
        site: &Site,
        catalogue: &Catalogue,
    ) -> Self {
        let mut change = Self::default();
        for (place, now) in after.circuits.iter().enumerate() {
            let was = counterpart(before, after, place);
            change.circuit(was, now, site, catalogue);
        }
        change.boat(before, after);
        change
    }

    fn circuit(
        &mut self,
        was: Option<&CircuitState>,
        now: &CircuitState,
        site: &Site,
        catalogue: &Catalogue,
    ) {
        let label = name(now, catalogue);
        if was.is_none_or(|was| account(was) != account(now)) {
            let tell = |circuit: &CircuitState| {
                let limit = holds_to(circuit, site).map(|to| format!(", {to}")).unwrap_or_default();
                format!("{} [{}]{limit}", in_words(circuit), grade(circuit.evidence))
            };
            let from = was.map_or_else(|| "not listed".to_owned(), tell);
            self.lines.push(format!("{label}: {from} -> {}", tell(now)));
            self.circuits.push(json!({
                "circuit": now.circuit,
                "instance": now.instance,
                "before": was.map(document),
                "after": document(now),
            }));
        }
        let fresh = |told: &Vec<String>, earlier: Option<&Vec<String>>| -> Vec<String> {
            let is_new = |line: &&String| earlier.is_none_or(|earlier| !earlier.contains(line));
            told.iter().filter(is_new).cloned().collect()
        };
        let why = fresh(&now.because, was.map(|was| &was.because));
        let asked = fresh(&now.open_questions, was.map(|was| &was.open_questions));
        let short = catalogue.circuit(&now.circuit).map_or(&label, |kind| &kind.label);
        for words in
            why.into_iter().chain(asked.into_iter().map(|ask| format!("to find out: {ask}")))
        {
            match self.remarks.iter_mut().find(|(told, _)| *told == words) {
                Some((_, parts)) => parts.push(short.clone()),
                None => self.remarks.push((words, vec![short.clone()])),
            }
        }
    }

    fn boat(&mut self, before: &BoatState, after: &BoatState) {
        let lies = |state: &BoatState| {
            let water = if state.afloat { "afloat" } else { "ashore" };
            let cover = if state.covered { ", covered" } else { "" };
            format!("{water} at {}{cover}", state.site)
        };
        if lies(before) != lies(after) {
            self.lines.push(format!("the boat: {} -> {}", lies(before), lies(after)));
        }
        for switched in after.mitigations.iter().filter(|new| !before.mitigations.contains(new)) {
            let on = if switched.on { "on" } else { "off" };
            self.lines
                .push(format!("{}: {on}; it hangs on power and changes no circuit", switched.kind));
        }
        for (what, was, now) in [
            ("test before running", &before.test_before_running, &after.test_before_running),
            ("to find out", &before.open_questions, &after.open_questions),
        ] {
            let added = now.iter().filter(|line| !was.contains(line));
            self.lines.extend(added.map(|line| format!("{what}: {line}")));
            let settled = was.iter().filter(|line| !now.contains(line));
            self.lines.extend(settled.map(|line| format!("no longer {what}: {line}")));
        }
    }

    /// Is nothing another than before?
    pub(super) fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }
}

/// The same circuit in the state before: by its name among several, else by its place among them.
fn counterpart<'a>(
    before: &'a BoatState,
    after: &BoatState,
    place: usize,
) -> Option<&'a CircuitState> {
    let now = after.circuits.get(place)?;
    let alike =
        |state: &'a BoatState| state.circuits.iter().filter(|was| was.circuit == now.circuit);
    alike(before).find(|was| was.instance == now.instance).or_else(|| {
        let earlier = after.circuits.iter().take(place);
        alike(before).nth(earlier.filter(|other| other.circuit == now.circuit).count())
    })
}

fn account(circuit: &CircuitState) -> impl PartialEq {
    (
        circuit.holds,
        circuit.evidence,
        circuit.closed_pocket,
        circuit.first_ice.map(Celsius::value),
        circuit.undone_by.clone(),
    )
}

fn document(circuit: &CircuitState) -> Value {
    json!({
        "holds": circuit.holds,
        "evidence": circuit.evidence,
        "first_ice_c": circuit.first_ice.map(|at| (at.value() * 100.0).round() / 100.0),
        "because": circuit.because,
        "undone_by": circuit.undone_by,
        "open_questions": circuit.open_questions,
    })
}
