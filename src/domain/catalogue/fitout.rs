//! Which boat has what, where a list says only what kind of boat it is, or only what engine.

use serde::Deserialize;

use super::table::{list, rows};
use super::{CatalogueError, CircuitId, CoolingKind};

const TABLE: &str = "fitouts.csv";
const WORDS: &str = "fitout_words.csv";
/// Words for an engine whose block is cooled by a loop.
const CLOSED: [&str; 6] = [
    "freshwater cooled",
    "fresh water cooled",
    "fresh-water cooled",
    "fwc",
    "closed cooling",
    "closed cooled",
];

/// One row of the fit-out table.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Fitout {
    /// Kind of boat, such as `petrol_sterndrive`.
    pub kind: String,
    /// What people call it.
    pub label: String,
    words: String,
    /// How such a boat is cooled, unless the list says otherwise.
    pub cooling: CoolingKind,
    /// Its fuel.
    pub fuel: String,
    always: String,
    often: String,
    no_plug: String,
    /// The one question that tells most about a boat of this kind.
    pub question: String,
    /// Where this comes from.
    pub source: String,
}

impl Fitout {
    /// Circuits that every boat of the kind has.
    pub fn always(&self) -> impl Iterator<Item = CircuitId> {
        list(&self.always).map(CircuitId::from)
    }

    /// Circuits that many boats of the kind have.
    pub fn often(&self) -> impl Iterator<Item = CircuitId> {
        list(&self.often).map(CircuitId::from)
    }

    /// Circuits that the plug of the bilge does not drain on such a boat, such as the void of a keel.
    pub fn not_by_plug(&self) -> impl Iterator<Item = CircuitId> {
        list(&self.no_plug).map(CircuitId::from)
    }

    /// How much the text says for this row. A word behind `~` (a maker, a fuel) yields to any word for the boat itself.
    fn longest_match(&self, text: &str) -> usize {
        let found = list(&self.words).filter_map(|word| match word.strip_prefix('~') {
            Some(weak) => has_word(text, weak).then_some(1),
            None => has_word(text, word).then_some(word.len()),
        });
        found.max().unwrap_or(0)
    }
}

/// A word of a list that stands for parts, such as `genset`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct FitoutWord {
    words: String,
    circuits: String,
    /// Where this comes from.
    pub source: String,
}

/// Reads the table of words for parts.
pub(crate) fn parse_words(text: &str) -> Result<Vec<FitoutWord>, CatalogueError> {
    Ok(rows::<FitoutWord>(WORDS, text)?.into_iter().map(|(_, word)| word).collect())
}

/// Does `text` hold `word` on its own, singular or plural, also behind a figure: `5.7io`, but not `radio`?
pub(super) fn has_word(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(start, _)| {
        let before = text.get(..start).and_then(|before| before.chars().next_back());
        let after = text.get(start + word.len()..).unwrap_or_default();
        let after = after.strip_prefix('s').unwrap_or(after);
        let is_apart = |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphabetic());
        is_apart(before) && is_apart(after.chars().next())
    })
}

/// A fit-out that was guessed, which says so.
#[derive(Debug, Clone, PartialEq)]
pub struct GuessedFitout {
    /// The row that fits best.
    pub kind: String,
    /// How it is probably cooled.
    pub cooling: CoolingKind,
    /// Its probable fuel.
    pub fuel: String,
    /// Number of engines that the text speaks of.
    pub engines: u8,
    /// What it probably has: unknown is wet, so the frequent circuits count too.
    pub circuits: Vec<CircuitId>,
    /// Those of them that only many boats of the kind have.
    pub often: Vec<CircuitId>,
    /// Those of them that the text names.
    pub named: Vec<CircuitId>,
    /// Says that it is a guess, and from what.
    pub words: String,
    /// The one most useful question.
    pub question: String,
}

/// Guesses a fit-out from an engine text and a length in metres. Small boats are not given what only larger ones have.
pub(crate) fn guess(
    (fitouts, words): (&[Fitout], &[FitoutWord]),
    engine_text: &str,
    length_m: Option<f64>,
) -> Option<GuessedFitout> {
    let text = engine_text.trim().to_lowercase();
    let of_kind = |kind: &str| fitouts.iter().find(|fitout| fitout.kind == kind);
    let best = fitouts
        .iter()
        .filter(|fitout| fitout.longest_match(&text) > 0)
        .max_by_key(|fitout| fitout.longest_match(&text))
        .or_else(|| of_kind("unknown"))?;
    let diesel = has_word(&text, "diesel");
    let closed = CLOSED.iter().any(|word| has_word(&text, word));
    // The same boat with the other fuel, or with the other cooling, where the text says so and the table has it.
    let best = match best.kind.strip_prefix("petrol_") {
        Some(rest) if diesel => of_kind(&format!("diesel_{rest}")).unwrap_or(best),
        Some("sterndrive") if closed => of_kind("petrol_sterndrive_cruiser").unwrap_or(best),
        _ => best,
    };
    let says = |words: &[&str]| words.iter().any(|word| has_word(&text, word));
    let engines = if says(&["triple", "three", "3x", "3 x"]) {
        3
    } else if says(&["twin", "two", "2x", "2 x", "pair"]) || text.contains("2x") {
        2
    } else {
        1
    };
    // A list without a length gives no reason to leave anything out.
    let roomy = length_m.is_none_or(|length| length >= 8.0);
    let mut circuits: Vec<CircuitId> = best.always().collect();
    let often: Vec<CircuitId> = best.often().filter(|_| roomy).collect();
    circuits.extend(often.iter().cloned());
    // An outboard's hull with an inboard's engine in the text: what both have, since unknown is wet.
    let inboard = |fitout: &&Fitout| {
        fitout.cooling != CoolingKind::RawOutboard && fitout.longest_match(&text) > 0
    };
    if best.cooling == CoolingKind::RawOutboard && !has_word(&text, "outboard") {
        for circuit in fitouts.iter().filter(inboard).flat_map(Fitout::always) {
            if !circuits.contains(&circuit) {
                circuits.push(circuit);
            }
        }
    }
    let mut named: Vec<CircuitId> = Vec::new();
    for word in words.iter().filter(|word| list(&word.words).any(|own| has_word(&text, own))) {
        for circuit in list(&word.circuits).map(CircuitId::from) {
            if !circuits.contains(&circuit) {
                circuits.push(circuit.clone());
            }
            named.push(circuit);
        }
    }
    let length = length_m.map_or_else(String::new, |length| format!(" and {length:.1} m"));
    Some(GuessedFitout {
        kind: best.kind.clone(),
        cooling: if closed { closed_as(diesel) } else { best.cooling },
        fuel: if diesel { "diesel".to_owned() } else { best.fuel.clone() },
        engines,
        circuits,
        often,
        named,
        words: format!("fit-out guessed from \"{}\"{length}: {}", engine_text.trim(), best.label),
        question: best.question.clone(),
    })
}

/// Closed says nothing of the manifolds: half is the wetter guess, and a diesel has none on raw water.
const fn closed_as(diesel: bool) -> CoolingKind {
    if diesel { CoolingKind::ClosedFull } else { CoolingKind::ClosedHalf }
}

/// Reads the fit-out table.
pub(crate) fn parse(text: &str) -> Result<Vec<Fitout>, CatalogueError> {
    Ok(rows::<Fitout>(TABLE, text)?.into_iter().map(|(_, fitout)| fitout).collect())
}
