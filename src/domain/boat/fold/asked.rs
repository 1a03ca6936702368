//! What must be remembered from entry to entry to ask about it.

use chrono::{DateTime, TimeDelta, Utc};

use super::log::Entry;
use crate::domain::catalogue::{Reason, Says};

/// A start that was not aired is asked about for so long: what has not burnt by then is not burning any more.
pub(super) const START_IS_FRESH: TimeDelta = TimeDelta::days(7);

/// What must be remembered from entry to entry.
#[derive(Default)]
pub(super) struct Order {
    pub(super) seacock_shut: bool,
    pub(super) fogged: bool,
    /// A start in a space with petrol vapour, of which nothing says that it was aired first.
    pub(super) unaired_start: Option<usize>,
    /// The same for a heater and a charger that are on.
    pub(super) unaired_heat: Option<usize>,
    pub(super) unaired_charger: Option<usize>,
    /// The newest answer, and whether it took a question from the owner's list.
    pub(super) last_answer: Option<usize>,
    pub(super) answered_some: bool,
    /// The owner was asked about a run; and the newest answer was to that.
    pub(super) asked_of_run: bool,
    pub(super) answered_run: bool,
    /// Questions to the owner that nobody has answered yet.
    pub(super) unanswered: Vec<usize>,
    /// Questions about the boat as a whole: entry, question, and what it is about.
    pub(super) asked: Vec<(usize, Reason, String)>,
}

impl Order {
    /// Keeps a question that was put to the owner until an answer comes.
    pub(super) fn listen(&mut self, number: usize, entry: &Entry<'_>) {
        if entry.kind.flags.asks {
            self.unanswered.push(number);
            self.asked_of_run |= entry.event.remark().is_some_and(|remark| remark.tells(Says::Ran));
        } else if entry.answers() && entry.event.boat.is_some() {
            self.answered_run = std::mem::take(&mut self.asked_of_run);
            self.answered_some = !self.unanswered.is_empty();
            self.last_answer = Some(number);
            self.unanswered.clear();
            let answered = |reason| {
                matches!(
                    reason,
                    Reason::OnlyWinterized
                        | Reason::OutletAside
                        | Reason::SpringState
                        | Reason::TankAgain
                        | Reason::RemarkMeans
                )
            };
            self.asked.retain(|(_, reason, _)| !answered(*reason));
            (self.unaired_start, self.unaired_heat, self.unaired_charger) = (None, None, None);
        }
    }

    /// What was switched on or started without a word of airing: entry and question, at `at`. A start is asked about for some
    /// days, a heater or a charger while it is on.
    pub(super) fn unaired(
        &self,
        entries: &[Entry<'_>],
        at: DateTime<Utc>,
    ) -> impl Iterator<Item = (usize, Reason)> {
        let happened = |number: usize| entries.get(number).map(|entry| entry.event.happened_at);
        let start = self.unaired_start.filter(|number| {
            happened(*number).is_some_and(|happened| at - happened <= START_IS_FRESH)
        });
        let powered = self.unaired_heat.into_iter().chain(self.unaired_charger);
        let start = start.map(|number| (number, Reason::OrderAired));
        start.into_iter().chain(powered.map(|number| (number, Reason::OrderPowered)))
    }

    /// Was something put to the owner before this entry that its answer must have been about?
    pub(super) fn asked_before(&self, number: usize) -> bool {
        self.last_answer == Some(number) && self.answered_some
    }

    /// Was it a run that this answer is about?
    pub(super) fn is_of_a_run(&self, number: usize) -> bool {
        self.last_answer == Some(number) && self.answered_run
    }

    /// Asks about the boat as a whole, once; asked again, by the later entry.
    pub(super) fn ask_once(&mut self, number: usize, reason: Reason) {
        self.asked.retain(|(_, asked, _)| *asked != reason);
        self.ask(number, reason, "");
    }

    pub(super) fn ask(&mut self, number: usize, reason: Reason, about: &str) {
        self.asked.push((number, reason, about.to_owned()));
    }
}
