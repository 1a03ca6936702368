//! What is aboard: which circuits a boat counts as having, and on whose word.
//!
//! A list that somebody made stands. What a kind of boat usually has is a guess; how the engine is cooled decides which of the
//! engine's circuits are among it, and adds to any list what such an engine has.

use super::{Boat, CircuitId, CoolingKind, Mark};
use crate::domain::catalogue::{Catalogue, CircuitSet};

/// Words in the remarks of a boat before the guess of its fit-out, as imports have written them.
const GUESS: &str = "fit-out ";
/// Words in the guess before the question that it asks.
const PLEASE: &str = "please answer:";
/// A question that holds this is about cooling.
const OF_COOLING: &str = "cooled";

impl Boat {
    /// On whose word it counts as having this circuit of its list.
    #[must_use]
    pub fn mark_of(&self, circuit: &CircuitId) -> Mark {
        let mark = self.fitting.marks.iter().find(|(id, _)| id == circuit);
        mark.map_or(Mark::Stated, |(_, mark)| *mark)
    }

    /// What it counts as having if its engine is cooled like `cooling`, each with its mark: the stated list whole, of a guess
    /// what such an engine may have, and what every such engine has.
    #[must_use]
    pub fn fit_out(&self, cooling: CoolingKind, catalogue: &Catalogue) -> Vec<(CircuitId, Mark)> {
        let (implied, excluded) = self.by_cooling(cooling, catalogue);
        let has = |set: CircuitSet, id: &CircuitId| {
            catalogue.place_of(id).is_some_and(|place| set.contains(place))
        };
        let mut fitted: Vec<(CircuitId, Mark)> = self
            .fitted
            .iter()
            .map(|id| (id.clone(), self.mark_of(id)))
            .filter(|(id, mark)| match mark {
                Mark::Stated => true,
                Mark::Always | Mark::Often => !has(excluded, id),
                Mark::Added => has(implied, id),
            })
            .collect();
        let listed = catalogue.set_of(fitted.iter().map(|(id, _)| id));
        let added = catalogue.circuits_of(implied.without(listed));
        fitted.extend(added.map(|kind| (kind.id.clone(), Mark::Added)));
        fitted
    }

    /// What the cooling implies and what it excludes on this boat.
    #[must_use]
    pub fn by_cooling(
        &self,
        cooling: CoolingKind,
        catalogue: &Catalogue,
    ) -> (CircuitSet, CircuitSet) {
        let Some(row) = catalogue.cooling(cooling).filter(|_| self.engines > 0) else {
            return (CircuitSet::EMPTY, CircuitSet::EMPTY);
        };
        let outboard = catalogue.cooling(CoolingKind::RawOutboard).map(|row| row.implies);
        let implied = match outboard {
            // What is known to have its engine inside has no outboard, however that is cooled.
            Some(own) if cooling == CoolingKind::Unknown && self.has_engine_inside(catalogue) => {
                row.implies.without(own)
            }
            _ => row.implies,
        };
        (implied, row.excludes)
    }

    fn has_engine_inside(&self, catalogue: &Catalogue) -> bool {
        let kind = catalogue.fitout(&self.kind);
        kind.is_some_and(|kind| kind.kind != "unknown" && kind.cooling != CoolingKind::RawOutboard)
    }

    /// With every circuit of its list marked, and those added that its cooling implies.
    #[must_use]
    pub fn completed(mut self, catalogue: &Catalogue) -> Self {
        let fit_out = self.fit_out(self.cooling, catalogue);
        self.fitted = fit_out.iter().map(|(id, _)| id.clone()).collect();
        self.fitting.marks = fit_out;
        self
    }

    /// As [`Boat::completed`], for a boat of a store that an older program wrote: what was guessed stands in its remarks.
    #[must_use]
    pub fn marked_anew(mut self, catalogue: &Catalogue) -> Self {
        let row = self.guess().and_then(|guess| {
            let mut fitouts = catalogue.fitouts().iter();
            fitouts.find(|row| guess.contains(&format!(": {};", row.label)))
        });
        let said = !self.guess_asks_of_cooling() && self.cooling != CoolingKind::Unknown;
        self.fitting.cooling_said = said;
        if let Some(row) = row {
            let (always, often): (Vec<_>, Vec<_>) = (row.always().collect(), row.often().collect());
            let mark = |id: &CircuitId| match () {
                () if row.kind == "unknown" || always.contains(id) => Mark::Always,
                () if often.contains(id) => Mark::Often,
                // Named in the words that the guess was made from.
                () => Mark::Stated,
            };
            self.fitting.marks = self.fitted.iter().map(|id| (id.clone(), mark(id))).collect();
        }
        self.completed(catalogue)
    }

    /// Whether its list was marked by this program or a later one.
    #[must_use]
    pub const fn is_marked(&self) -> bool {
        !self.fitting.marks.is_empty() || self.fitted.is_empty()
    }

    /// The yard's own remarks, without the guess of a fit-out that an import has put behind them.
    #[must_use]
    pub fn remarks(&self) -> &str {
        let own = self.guess_at().and_then(|at| self.notes.get(..at)).unwrap_or(&self.notes);
        own.trim_end_matches([';', ' '])
    }

    /// The guess of its fit-out with the question that it asks, as an import has put it into the remarks.
    #[must_use]
    pub fn guess(&self) -> Option<&str> {
        self.notes.get(self.guess_at()?..)
    }

    fn guess_at(&self) -> Option<usize> {
        let at = self.notes.find(GUESS)?;
        self.notes.get(at..).filter(|guess| guess.contains(PLEASE)).map(|_| at)
    }

    fn guess_question(&self) -> Option<&str> {
        self.guess()?.split_once(PLEASE).map(|(_, question)| question.trim())
    }

    /// Whether the guess asks how the engine is cooled.
    #[must_use]
    pub fn guess_asks_of_cooling(&self) -> bool {
        self.guess_question().is_some_and(|question| question.contains(OF_COOLING))
    }

    /// Whether its row says how the engine is cooled; of a list that nobody has marked yet, what stands there counts.
    #[must_use]
    pub fn cooling_is_known(&self) -> bool {
        let said = self.fitting.cooling_said || !self.is_marked();
        said && self.cooling != CoolingKind::Unknown
    }

    /// The guess as long as it asks something: a question about cooling ends with the answer, `cooling_known`.
    #[must_use]
    pub fn open_guess(&self, cooling_known: bool) -> Option<&str> {
        self.guess().filter(|_| !(cooling_known && self.guess_asks_of_cooling()))
    }
}
