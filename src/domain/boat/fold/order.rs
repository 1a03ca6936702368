//! The order of work: what is asked where entries come in an order that does harm.
//!
//! Most constraints need no check of their own, since the state follows from the order: a run after the flush washes it
//! out, a cold run leaves the block, a wash refills, a loop is tested after it is mixed. Here stand those that change no
//! circuit and still must be asked about.

use chrono::{DateTime, TimeDelta, Utc};

use super::Folding;
use super::log::Entry;
use super::target::Target;
use crate::domain::boat::{Evidence, Holds, LayupEvent};
use crate::domain::catalogue::{EffectKind, EventClass, Reason, Says};

/// A start that was not aired is asked about for so long: what has not burnt by then is not burning any more.
const START_IS_FRESH: TimeDelta = TimeDelta::days(7);

/// What must be remembered from entry to entry.
#[derive(Default)]
pub(super) struct Order {
    seacock_shut: bool,
    fogged: bool,
    /// A start in a space with petrol vapour, of which nothing says that it was aired first.
    unaired_start: Option<usize>,
    /// The same for a heater and a charger that are on.
    unaired_heat: Option<usize>,
    unaired_charger: Option<usize>,
    /// The newest answer, and whether it took a question from the owner's list.
    last_answer: Option<usize>,
    answered_some: bool,
    /// The owner was asked about a run; and the newest answer was to that.
    asked_of_run: bool,
    answered_run: bool,
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
        } else if super::answer::answers(entry) && entry.event.boat.is_some() {
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

impl Folding<'_> {
    /// Asks what the order of work leaves open.
    pub(super) fn check_order(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let flags = entry.kind.flags;
        let afloat = self.whereabouts.afloat;
        if flags.shuts_seacock {
            self.order.seacock_shut = true;
        } else if flags.opens_seacock {
            self.order.seacock_shut = false;
        }
        if flags.signs && entry.event.speaks_of("winterized") {
            self.order.ask(number, Reason::OnlyWinterized, "");
        }
        if flags.opens_strainer && afloat && !self.order.seacock_shut {
            self.order.ask(number, Reason::OrderStrainer, "");
        }
        if flags.fogs {
            self.order.fogged = true;
        } else if flags.run && std::mem::take(&mut self.order.fogged) {
            self.order.ask(number, Reason::OrderFogged, "");
        }
        if flags.off_board && afloat {
            self.order.ask(number, Reason::OrderBattery, "");
        }
        if flags.fills_house && !afloat && self.is_spring(&entry.event) {
            self.order.ask(number, Reason::OrderSpring, "");
        }
        if self.boat.has_enclosed_petrol() {
            self.check_vapour(number, entry);
        }
        if entry.kind.effect == EffectKind::Drain {
            let loops = targets
                .iter()
                .filter_map(|target| self.slots.get(target.slot))
                .any(|slot| slot.kind.is_closed_loop());
            if loops {
                self.order.ask(number, Reason::OrderLoop, "");
            }
        }
    }

    /// A start, a heater, a charger in a space where petrol vapour gathers: does anything say that it was aired first?
    fn check_vapour(&mut self, number: usize, entry: &Entry<'_>) {
        let said = entry.event.speaks_of("aired");
        if entry.kind.flags.run || super::is_engine_blend(entry) {
            self.order.unaired_start = (!said).then_some(number);
        }
        let Some((kind, on)) = &entry.kind.mitigation else { return };
        let asked = (*on && !said).then_some(number);
        match kind.as_str() {
            "heat" => self.order.unaired_heat = asked,
            "charger" => self.order.unaired_charger = asked,
            _ => {}
        }
    }

    /// An entry whose own remark denies it.
    pub(super) fn ask_where_denied(&mut self, number: usize, entry: &Entry<'_>) {
        if entry.kind.class != EventClass::Protecting || !entry.event.is_denied() {
            return;
        }
        for slot in self.slots.iter_mut().filter(|slot| slot.set_by == Some(number)) {
            slot.evidence = slot.evidence.min(Evidence::Claimed);
            slot.rule(number, Reason::RemarkDenies);
            slot.ask(number, Reason::DoesItHold);
        }
    }

    /// A water heater that was emptied: does anything say that its power is off? A dry element burns out.
    pub(super) fn ask_about_the_breaker(&mut self, number: usize, entry: &Entry<'_>) {
        for slot in self.slots.iter_mut().filter(|slot| slot.set_by == Some(number)) {
            let empty = matches!(slot.holds, Holds::Drained | Holds::Dry);
            if empty && slot.kind.has_heating_element() && !entry.event.speaks_of("power_off") {
                slot.ask(number, Reason::OrderBreaker);
            }
        }
    }

    fn is_spring(&self, event: &LayupEvent) -> bool {
        super::local_time(event).is_some_and(|local| self.season.is_spring(local))
    }
}
