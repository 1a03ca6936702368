//! What the way in which an engine is cooled says of its circuits, and the words in which people say it.

use serde::Deserialize;

use super::fitout::has_word;
use super::table::{list, rows};
use super::{CatalogueError, CircuitId, CircuitSet, CoolingKind};

const TABLE: &str = "cooling.csv";
const WORDS: &str = "cooling_words.csv";
const FITTING: &str = "fitting_words.csv";
/// A text that holds this speaks of cooling.
const TOPIC: &str = "cool";
/// In a text with one of these the words for cooling may be denied or doubted.
const DOUBTS: [&str; 5] = ["not", "never", "maybe", "perhaps", "unknown"];

/// What one kind of cooling says of an engine's circuits.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// Which kind.
    pub kind: CoolingKind,
    /// As the end of "the engine is cooled ...".
    pub label: String,
    /// What every engine of the kind has.
    pub implies: CircuitSet,
    /// What it has not.
    pub excludes: CircuitSet,
    shown_by: CircuitSet,
}

/// What a word of `fitting_words.csv` says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FittingWord {
    /// The part is aboard.
    Fitted,
    /// It is not.
    NotFitted,
    /// A tank is full to its vent.
    Brimful,
}

#[derive(Deserialize)]
struct Row {
    kind: CoolingKind,
    label: String,
    implies: String,
    excludes: String,
    shown_by: String,
    source: String,
}

#[derive(Debug, Clone, Deserialize)]
struct WordRow {
    words: String,
    kind: CoolingKind,
    diesel: Option<CoolingKind>,
    alone: String,
    #[serde(rename = "source")]
    _source: String,
}

#[derive(Debug, Clone, Deserialize)]
struct FittingRow {
    what: FittingWord,
    words: String,
    #[serde(rename = "source")]
    _source: String,
}

/// The three tables.
#[derive(Debug, Clone)]
pub(super) struct CoolingTables {
    kinds: Vec<Cooling>,
    words: Vec<WordRow>,
    fitting: Vec<FittingRow>,
}

impl CoolingTables {
    /// The tables compiled into the program. `group` resolves a circuit to its set.
    pub(super) fn built_in(
        group: impl Fn(&CircuitId) -> Option<CircuitSet>,
    ) -> Result<Self, CatalogueError> {
        let set = |text: &str, line| {
            list(text).try_fold(CircuitSet::EMPTY, |set, id| {
                let what = || format!("{id} is no circuit");
                let more = group(&CircuitId::from(id));
                more.map(|more| set.union(more)).ok_or_else(|| CatalogueError::Row {
                    table: TABLE,
                    line,
                    what: what(),
                })
            })
        };
        let mut kinds = Vec::new();
        for (line, row) in
            rows::<Row>(TABLE, include_str!("../../../config/catalogue/cooling.csv"))?
        {
            if row.source.is_empty() {
                let what = "a row without a source".to_owned();
                return Err(CatalogueError::Row { table: TABLE, line, what });
            }
            kinds.push(Cooling {
                kind: row.kind,
                label: row.label,
                implies: set(&row.implies, line)?,
                excludes: set(&row.excludes, line)?,
                shown_by: set(&row.shown_by, line)?,
            });
        }
        let words = include_str!("../../../config/catalogue/cooling_words.csv");
        let fitting = include_str!("../../../config/catalogue/fitting_words.csv");
        Ok(Self {
            kinds,
            words: rows::<WordRow>(WORDS, words)?.into_iter().map(|(_, row)| row).collect(),
            fitting: rows::<FittingRow>(FITTING, fitting)?
                .into_iter()
                .map(|(_, row)| row)
                .collect(),
        })
    }

    /// What a kind of cooling says of the circuits.
    pub(super) fn of(&self, kind: CoolingKind) -> Option<&Cooling> {
        self.kinds.iter().find(|row| row.kind == kind)
    }

    /// The kind that a list shows; `None` where it shows none.
    pub(super) fn shown_by(&self, listed: CircuitSet) -> Option<CoolingKind> {
        let fits = |row: &&Cooling| {
            !row.shown_by.is_empty()
                && row.shown_by.without(listed).is_empty()
                && row.excludes.intersection(listed).is_empty()
        };
        self.kinds.iter().find(fits).map(|row| row.kind)
    }

    /// The kind that a text says; `None` where it says two things, or doubts one.
    pub(super) fn in_words(&self, text: &str, diesel: bool) -> Option<CoolingKind> {
        let text = text.to_lowercase();
        // What stands before a question mark was asked, not answered.
        let text = text.rsplit('?').next().unwrap_or_default().trim();
        if DOUBTS.iter().any(|word| has_word(text, word)) || text.contains("n't") {
            return None;
        }
        let found: Vec<(&str, CoolingKind)> =
            self.words.iter().flat_map(|row| row.found_in(text, diesel)).collect();
        // Of `half closed` the words `half` and `closed` say nothing of their own.
        let inside = |word: &str| found.iter().any(|(of, _)| *of != word && of.contains(word));
        let mut kinds = found.iter().filter(|(word, _)| !inside(word)).map(|(_, kind)| *kind);
        let first = kinds.next()?;
        kinds.all(|other| other == first).then_some(first)
    }

    /// What the whole of a text says of a part.
    pub(super) fn fitting(&self, text: &str) -> Option<FittingWord> {
        let text = text.trim().trim_end_matches(['.', '!', ',', ';']).to_lowercase();
        let says = |row: &&FittingRow| {
            row.what != FittingWord::Brimful && list(&row.words).any(|word| word == text)
        };
        self.fitting.iter().find(says).map(|row| row.what)
    }

    /// Does a text say that a tank is full to its vent?
    pub(super) fn is_brimful(&self, text: &str) -> bool {
        let text = text.to_lowercase();
        let rows = self.fitting.iter().filter(|row| row.what == FittingWord::Brimful);
        rows.flat_map(|row| list(&row.words)).any(|word| text.contains(word))
    }
}

impl WordRow {
    /// Its words that count in a text, with the kind that each says.
    fn found_in<'r>(&'r self, text: &str, diesel: bool) -> Vec<(&'r str, CoolingKind)> {
        let kind = self.diesel.filter(|_| diesel).unwrap_or(self.kind);
        let on_topic = text.contains(TOPIC);
        let alone = |word: &str| self.alone == "yes" && word == text;
        list(&self.words)
            .filter(|word| alone(word) || on_topic && has_word(text, word))
            .map(|word| (word, kind))
            .collect()
    }
}
