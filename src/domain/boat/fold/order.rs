//! The order of work: what is asked where entries come in an order that does harm.
//!
//! Most constraints need no check of their own, since the state follows from the order: a run after the flush washes it
//! out, a cold run leaves the block, a wash refills, a loop is tested after it is mixed. Here stand those that change no
//! circuit and still must be asked about.

use super::folding::Folding;
use super::log::Entry;
use super::target::Target;
use crate::domain::boat::{Evidence, Holds, LayupEvent};
use crate::domain::catalogue::{EffectKind, EventClass, Reason};

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
        if entry.kind.flags.run || super::log::is_engine_blend(entry) {
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
        super::log::local_time(event).is_some_and(|local| self.season.is_spring(local))
    }
}
