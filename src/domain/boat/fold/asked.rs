//! What must be remembered from entry to entry to ask about it.

use chrono::{DateTime, TimeDelta, Utc};

use super::log::Entry;
use crate::domain::catalogue::Reason;

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
        } else if entry.kind.flags.answers && entry.event.boat.is_some() {
            self.unanswered.clear();
            let answered = |reason| matches!(reason, Reason::OnlyWinterized | Reason::OutletAside);
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

    pub(super) fn ask(&mut self, number: usize, reason: Reason, about: &str) {
        self.asked.push((number, reason, about.to_owned()));
    }
}

/// A start that was not aired is asked about for so long: what has not burnt by then is not burning any more.
pub(super) const START_IS_FRESH: TimeDelta = TimeDelta::days(7);
