//! What was seen: a look, ice, damage.

use super::Folding;
use super::log::Entry;
use super::reading::read_c;
use super::target::Target;
use crate::domain::boat::{Evidence, Holds};
use crate::domain::catalogue::Reason;

impl Folding<'_> {
    pub(super) fn inspect(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        if entry.event.volts.is_some() {
            self.volts(number, entry, targets);
        }
        if entry.event.mentions_damage() {
            return self.damage(number, targets);
        }
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            // Who only says that they looked, or could not, has cleared nothing.
            if entry.grade() >= Evidence::Recorded && !entry.event.speaks_of("not_looked") {
                slot.test_first = None;
                slot.answered(Reason::TestBeforeRunning);
            }
            let drained = slot.holds == Holds::Drained && !slot.closed_pocket;
            if drained && entry.grade() >= Evidence::Probed {
                slot.evidence = slot.evidence.max(Evidence::Probed);
            }
            slot.event(number);
        }
    }

    /// Ice was seen: water where nothing protects; a doubt where something does.
    pub(super) fn ice(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let seen_c = read_c(&entry.event).0;
        let mut void = Vec::new();
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            match slot.holds {
                Holds::Drained | Holds::Dry => {
                    slot.closed_pocket = true;
                    slot.holds = Holds::Drained;
                    slot.evidence = slot.evidence.min(Evidence::Claimed);
                    slot.event(number);
                    slot.rule(number, Reason::DrainedIce);
                }
                holds if holds.is_protected() => {
                    slot.evidence = slot.evidence.min(Evidence::Recorded);
                    slot.event(number);
                    slot.rule(number, Reason::IceProtected);
                    slot.ask(number, Reason::Retest);
                    let warm = seen_c.zip(slot.first_ice_c).is_some_and(|(seen, ice)| seen > ice);
                    if warm {
                        slot.first_ice_c = None;
                        slot.read_at = None;
                        slot.evidence = slot.evidence.min(Evidence::Claimed);
                        slot.rule(number, Reason::IceTooWarm);
                        void.extend(slot.set_by);
                    }
                }
                holds => {
                    let holds = if holds == Holds::Sea { Holds::Sea } else { Holds::Fresh };
                    slot.undo(
                        holds,
                        entry.grade().max(Evidence::Probed),
                        number,
                        entry.event.happened_at,
                    );
                }
            }
            slot.test_first = Some(number);
            slot.ask(number, Reason::TestBeforeRunning);
        }
        self.ask_of_the_same_jug(number, &void);
    }

    /// What was put in by the entries `void` froze sooner than it should: the same jugs went into other parts.
    fn ask_of_the_same_jug(&mut self, number: usize, void: &[usize]) {
        let sheets = &self.sheets;
        let alike = |one: usize, other: usize| {
            let (one, other) = (sheets.get(one), sheets.get(other));
            one.is_some()
                && one == other
                && one.is_some_and(|sheet| sheet.iter().any(Option::is_some))
        };
        for slot in self.slots.iter_mut().filter(|slot| slot.holds == Holds::Blend) {
            let same = |by: usize| void.iter().any(|entry| *entry == by || alike(*entry, by));
            if slot.first_ice_c.is_some() && slot.set_by.is_some_and(same) {
                slot.evidence = slot.evidence.min(Evidence::Recorded);
                slot.ask(number, Reason::SameJug);
            }
        }
    }

    pub(super) fn damage(&mut self, number: usize, targets: &[Target]) {
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            slot.event(number);
            slot.test_first = Some(number);
            slot.ask(number, Reason::TestBeforeRunning);
        }
    }
}
