//! The order of work: what is asked where entries come in an order that does harm.
//!
//! Most constraints need no check of their own, since the state follows from the order: a run after the flush washes it
//! out, a cold run leaves the block, a wash refills, a loop is tested after it is mixed. Here stand those that change no
//! circuit and still must be asked about.

use super::Folding;
use super::log::Entry;
use super::target::Target;
use crate::domain::boat::LayupEvent;
use crate::domain::catalogue::{EffectKind, Reason};

/// What must be remembered from entry to entry.
#[derive(Default)]
pub(super) struct Order {
    seacock_shut: bool,
    fogged: bool,
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
        }
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

    fn is_spring(&self, event: &LayupEvent) -> bool {
        super::local_time(event).is_some_and(|local| self.season.is_spring(local))
    }
}
