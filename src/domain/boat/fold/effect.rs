//! What entries do to circuits, apart from antifreeze and readings.

use chrono::{DateTime, TimeDelta, Utc};

use super::folding::Folding;
use super::log::Entry;
use super::sides::{names_other_parts, one_side};
use super::slot::{Say, Slot};
use super::target::Target;
use crate::domain::boat::event::OldOil;
use crate::domain::boat::{Evidence, Holds, LayupEvent};
use crate::domain::catalogue::{Confinement, Reason};
use crate::domain::physics::battery::gravity_at_rested_volts;

/// A full lead-acid cell at rest has 2.12 to 2.18 V (makers' tables, from memory); above this it is being charged.
const MOST_RESTED_V_A_CELL: f64 = 2.2;
/// No 12 V battery has more even on charge, and no 24 V bank.
const VOLTS_OF_12: f64 = 18.0;
const VOLTS_OF_24: f64 = 36.0;
/// Litres of several drains are added up as long as they are no more than this share of what fits: an estimate in a bucket.
const FITS_WITHIN: f64 = 1.1;

/// The grade of an entry for one slot: claimed at most where several could be meant.
pub(super) fn graded(entry: &Entry<'_>, target: Target) -> Evidence {
    if target.unnamed { entry.grade().min(Evidence::Claimed) } else { entry.grade() }
}

/// Says so, and asks, where several could be meant.
pub(super) fn note_unnamed(slot: &mut Slot<'_>, number: usize, target: Target) {
    if target.unnamed {
        slot.rule(number, Reason::SeveralUnnamed);
        slot.ask(number, Reason::WhichOne);
    }
}

impl<'a> Folding<'a> {
    pub(super) fn slot(&mut self, target: Target) -> Option<&mut Slot<'a>> {
        self.slots.get_mut(target.slot)
    }

    /// An entry that says something of a circuit without changing it.
    pub(super) fn mention(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            slot.event(number);
            // Who does it is open again where one sheet says done and a later one says declined.
            if entry.kind.question == Some(Reason::Declined) && slot.holds.is_protected() {
                slot.evidence = slot.evidence.min(Evidence::Claimed);
                slot.rule(number, Reason::DeclinedAfter);
                slot.ask(number, Reason::WhichSheet);
            }
            if let Some(question) = entry.kind.question {
                slot.ask(number, question);
            }
        }
    }

    pub(super) fn set(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let at = entry.event.happened_at;
        let Some(holds) = entry.kind.sets else { return };
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            if holds.is_protected() {
                let grade = graded(entry, *target);
                slot.protect(holds, grade, number, at);
                note_unnamed(slot, number, *target);
                if grade <= Evidence::Claimed && entry.kind.question.is_none() {
                    slot.ask(number, Reason::OnlyClaimed);
                }
                if let Some(question) = entry.kind.question {
                    slot.ask(number, question);
                }
            } else {
                slot.undo(holds, entry.grade(), number, at);
            }
        }
    }

    /// Water runs in.
    pub(super) fn fill(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        water: Holds,
        targets: &[Target],
    ) {
        for target in targets {
            if let Some(slot) = self.slot(*target) {
                slot.undo(water, entry.grade(), number, entry.event.happened_at);
            }
        }
    }

    pub(super) fn lose(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            slot.undo(Holds::Unknown, Evidence::None, number, entry.event.happened_at);
            slot.needs_mixing |= entry.kind.flags.mix_first;
            slot.load_on |= entry.kind.flags.load_on;
            if let Some(question) = entry.kind.question {
                slot.ask(number, question);
            }
        }
    }

    pub(super) fn drain(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let event = &*entry.event;
        let check = self.check_drain(entry, targets);
        let coil = self.catalogue.loop_and_coil().map(|(_, coil)| coil);
        let mut named = event.circuits.iter().filter_map(|id| self.catalogue.named(id));
        let coil_is_named = coil.is_some_and(|coil| named.any(|name| name.set.contains(coil)));
        self.draw(event, targets);
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            let mut grade = graded(entry, *target);
            // Both banks of a block, both manifolds: one entry for each makes them whole, as far as the weaker of the two.
            let side = one_side(event, slot);
            let before = slot.side_drained.filter(|_| slot.holds == Holds::Drained);
            let half = side.filter(|side| before.is_none_or(|(other, ..)| other == *side));
            let other = before.filter(|_| side.is_some() && half.is_none());
            let with_its_loop = Some(slot.place) == coil && !coil_is_named;
            if with_its_loop {
                grade = grade.min(Evidence::Claimed);
            }
            let not_named = event.circuits.len() > 1 && names_other_parts(event, slot.kind);
            if not_named {
                grade = grade.min(Evidence::Claimed);
            }
            match event.probed {
                _ if not_named => {}
                Some(false) => grade = grade.min(Evidence::Recorded),
                Some(true) if grade >= Evidence::Recorded => grade = Evidence::Probed,
                _ => {}
            }
            grade = grade.min(check.at_most);
            if check.doubt.is_some() {
                grade = grade.min(Evidence::Claimed);
            }
            let pocket = check.pocket || other.is_some_and(|(_, _, pocket)| pocket);
            let own = half.map(|side| (side, grade, check.pocket));
            if half.is_some() {
                grade = grade.min(Evidence::Claimed);
            }
            if let Some((_, of_other, _)) = other {
                grade = grade.min(of_other);
            }
            slot.protect(Holds::Drained, grade, number, event.happened_at);
            slot.closed_pocket = pocket || half.is_some();
            slot.side_drained = own;
            slot.drain_doubt = check.doubt.is_some();
            if half.is_some() {
                slot.rule(number, Reason::OneSide);
                slot.ask(number, Reason::Others);
            }
            if with_its_loop {
                slot.rule(number, Reason::LoopDrained);
            }
            if not_named {
                slot.rule(number, Reason::PartNotNamed);
                slot.ask(number, Reason::WhatWasDone);
            }
            if let Some(doubt) = &check.doubt {
                slot.note(Some(number), doubt.clone());
                if matches!(doubt, Say::Figures(Reason::OneBank, ..)) {
                    slot.ask(number, Reason::WhichBank);
                }
            }
            note_unnamed(slot, number, *target);
            if slot.kind.is_cranked_empty() {
                slot.evidence = slot.evidence.min(Evidence::Recorded);
                slot.ask(number, Reason::CrankPump);
            }
            if grade < Evidence::Probed {
                if event.probed == Some(false) {
                    slot.rule(number, Reason::NotProbed);
                }
                slot.ask(number, Reason::Probe);
                if event.minutes.is_none() {
                    slot.rule(number, Reason::OpenTimeUntold);
                    slot.ask(number, Reason::OpenTime);
                }
            }
        }
    }

    /// Minutes and litres of a drain against what they should be.
    fn check_drain(&self, entry: &Entry<'_>, targets: &[Target]) -> DrainCheck {
        let limits = self.catalogue.limits();
        let event = &*entry.event;
        let single = event.point.as_deref().is_some_and(is_single_point);
        let wanted = if single { limits.single_drain_open_min } else { limits.drain_open_min };
        if let Some(minutes) = event.minutes.filter(|minutes| *minutes < wanted) {
            let doubt = Say::Figures(Reason::UnderOpenTime, minutes, wanted);
            return DrainCheck { doubt: Some(doubt), pocket: true, at_most: Evidence::Claimed };
        }
        // A blank is worth no more than the shortest time that is right.
        let at_most = match event.minutes {
            Some(_) => Evidence::Measured,
            None if single => Evidence::Claimed,
            None => Evidence::Recorded,
        };
        let Some(litres) = event.litres_out else {
            return DrainCheck { doubt: None, pocket: false, at_most };
        };
        let volumes = |full_only: bool| -> f64 { self.to_come_out_l(event, targets, full_only) };
        let (full, most) = (volumes(true), volumes(false));
        let fitted = full - self.out_before_l(event, litres, full, targets);
        let missing = fitted - litres;
        let (doubt, pocket) = match () {
            () if fitted > 0.0 && litres < limits.litres_low_share * fitted => {
                (Some(Say::Figures(Reason::LitresLow, litres, fitted)), true)
            }
            () if self.one_bank_l(event, targets).is_some_and(|bank| missing >= bank) => {
                (Some(Say::Figures(Reason::OneBank, missing, fitted)), true)
            }
            () if most > 0.0 && litres > limits.litres_high_share * most => {
                (Some(Say::Figures(Reason::LitresHigh, litres, most)), false)
            }
            () => (None, false),
        };
        DrainCheck { doubt, pocket, at_most }
    }

    /// Litres that should come out of all of these: of those only that are still full, or of every one.
    fn to_come_out_l(&self, event: &LayupEvent, targets: &[Target], full_only: bool) -> f64 {
        targets
            .iter()
            .filter_map(|target| self.slots.get(target.slot))
            // A tank need not have been full.
            .filter(|slot| slot.kind.confinement != Confinement::Open)
            .filter(|slot| !full_only || !slot.is_empty())
            .map(|slot| {
                self.volume_l(slot) * if one_side(event, slot).is_some() { 0.5 } else { 1.0 }
            })
            .sum()
    }

    /// Litres that have come out of these since they were last full, as far as they and `litres` are not the same water told
    /// twice: the same figure within a day, or more than fits (`full_l`).
    fn out_before_l(
        &self,
        event: &LayupEvent,
        litres: f64,
        full_l: f64,
        targets: &[Target],
    ) -> f64 {
        let near = |at: DateTime<Utc>| (event.happened_at - at).abs() <= TimeDelta::days(1);
        let told = |(of, at): &(f64, DateTime<Utc>)| (of - litres).abs() < 0.05 && near(*at);
        let before: f64 = targets
            .iter()
            .filter_map(|target| self.slots.get(target.slot))
            .filter(|slot| !slot.is_empty())
            .map(|slot| slot.out_l)
            .sum();
        if self.drawn.iter().any(told) || before + litres > FITS_WITHIN * full_l {
            0.0
        } else {
            before
        }
    }

    /// Writes into the ledger of water what came out of each, by its share of what fits.
    fn draw(&mut self, event: &LayupEvent, targets: &[Target]) {
        let Some(litres) = event.litres_out else { return };
        let full_l = self.to_come_out_l(event, targets, false);
        if full_l <= 0.0 {
            return;
        }
        self.drawn.push((litres, event.happened_at));
        for target in targets {
            let volume_l = self.slots.get(target.slot).map_or(0.0, |slot| self.volume_l(slot));
            if let Some(slot) = self.slot(*target) {
                slot.out_l += litres * volume_l / full_l;
            }
        }
    }

    /// Litres of one side of the largest part with two that is drained whole by this entry.
    fn one_bank_l(&self, event: &LayupEvent, targets: &[Target]) -> Option<f64> {
        targets
            .iter()
            .filter_map(|target| self.slots.get(target.slot))
            .filter(|slot| slot.kind.has_two_sides() && one_side(event, slot).is_none())
            .filter(|slot| !slot.is_empty())
            .map(|slot| self.volume_l(slot) / 2.0)
            .reduce(f64::max)
    }

    /// Litres of one instance when full: the boat's own figure shared among its instances, or the working figure.
    pub(super) fn volume_l(&self, slot: &Slot<'_>) -> f64 {
        let own = self.boat.volumes_l.iter().find(|(circuit, _)| *circuit == slot.kind.id);
        match own {
            Some((_, litres)) => {
                let several = self.slots.iter().filter(|other| other.place == slot.place).count();
                let several = u32::try_from(several.max(1)).unwrap_or(1);
                litres / f64::from(several)
            }
            None => slot.kind.volume_l,
        }
    }

    pub(super) fn confirm_drained(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        // Which drain stands open nobody says: that keeps dry what was drained, and drains nothing else.
        if entry.event.circuits.is_empty() {
            for target in targets {
                let Some(slot) = self.slot(*target) else { continue };
                slot.event(number);
                if !matches!(slot.holds, Holds::Drained | Holds::Dry) {
                    slot.ask(number, Reason::Probe);
                }
            }
            return;
        }
        // Of what it names it says as much as an entry that it was drained, and takes nothing from one that says more.
        let before: Vec<Slot<'a>> =
            targets.iter().filter_map(|target| self.slots.get(target.slot)).cloned().collect();
        self.drain(number, entry, targets);
        for (target, earlier) in targets.iter().zip(before) {
            let Some(slot) = self.slot(*target) else { continue };
            let empty = matches!(earlier.holds, Holds::Drained | Holds::Dry);
            if empty && !slot.is_better_protected_than(&earlier) {
                *slot = earlier;
                slot.event(number);
            }
        }
    }

    pub(super) fn gear_oil(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let event = &*entry.event;
        let (seen, at) = (event.oil_seen(), event.happened_at);
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            let grade = graded(entry, *target);
            match seen {
                Some(OldOil::Wet) => {
                    slot.protect(Holds::LubeWet, grade, number, at);
                    slot.rule(number, Reason::Milky);
                }
                Some(OldOil::Clear) => slot.protect(Holds::LubeClean, grade, number, at),
                None => {
                    slot.protect(Holds::LubeClean, grade.min(Evidence::Claimed), number, at);
                    slot.ask(number, Reason::GearOilLook);
                }
            }
            note_unnamed(slot, number, *target);
        }
    }

    pub(super) fn volts(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let event = &*entry.event;
        let mut limits = *self.catalogue.limits();
        // Banks of 24 and 48 V are so many of them in a row.
        let in_a_row = match event.volts {
            Some(volts) if volts > VOLTS_OF_24 => 4.0,
            Some(volts) if volts > VOLTS_OF_12 => 2.0,
            _ => 1.0,
        };
        limits.battery_cells *= in_a_row;
        limits.battery_volts_min *= in_a_row;
        limits.battery_volts_wanted *= in_a_row;
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            // Volts are the battery's, whatever else the entry lists.
            if slot.kind.confinement != Confinement::Chemical {
                continue;
            }
            if entry.kind.flags.load_off {
                slot.load_on = false;
            }
            match event.volts {
                Some(_) if slot.load_on => {
                    slot.event(number);
                    slot.rule(number, Reason::LoadOn);
                    slot.ask(number, Reason::VoltsLoadOff);
                }
                // More than a rested battery has: a charger is on, or it is no battery of so many cells.
                Some(volts) if volts > MOST_RESTED_V_A_CELL * limits.battery_cells => {
                    slot.event(number);
                    slot.rule(number, Reason::NotRested);
                    slot.ask(number, Reason::VoltsLoadOff);
                }
                Some(volts) if volts >= limits.battery_volts_min => {
                    slot.protect(Holds::Charged, graded(entry, *target), number, event.happened_at);
                    slot.specific_gravity =
                        Some(gravity_at_rested_volts(volts, limits.battery_cells));
                    // From here on it loses charge by itself.
                    slot.read_at = Some(event.happened_at);
                    note_unnamed(slot, number, *target);
                    if volts < limits.battery_volts_wanted {
                        slot.ask(number, Reason::VoltsLoadOff);
                    }
                }
                Some(_) => slot.undo(Holds::Unknown, Evidence::None, number, event.happened_at),
                None => {
                    slot.event(number);
                    // It was seen to and no volts are told: no more than those of a battery that is charged well enough.
                    let least =
                        gravity_at_rested_volts(limits.battery_volts_wanted, limits.battery_cells);
                    slot.specific_gravity = slot.specific_gravity.map(|known| known.min(least));
                    if slot.holds != Holds::Charged {
                        slot.rule(number, Reason::NoVolts);
                        slot.ask(number, Reason::VoltsLoadOff);
                    }
                }
            }
        }
    }

    /// Afloat an opened seacock fills; ashore it drains.
    pub(super) fn seacock_open(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        water: Holds,
        targets: &[Target],
    ) {
        if self.whereabouts.afloat {
            self.fill(number, entry, water, targets);
            self.fill_behind_the_seacock(number, entry, water);
            return;
        }
        for target in targets {
            if let Some(slot) = self.slot(*target) {
                slot.protect(
                    Holds::Drained,
                    graded(entry, *target),
                    number,
                    entry.event.happened_at,
                );
            }
        }
    }
}

struct DrainCheck {
    doubt: Option<Say>,
    pocket: bool,
    at_most: Evidence,
}

/// Whether the words name one drain: no list, no sides, no plural.
fn is_single_point(point: &str) -> bool {
    let point = point.trim().to_lowercase();
    let several = point.contains([';', ',', '+', '&', '/'])
        || point.split_whitespace().any(|word| {
            let plural = word.len() > 3 && word.ends_with('s') && !word.ends_with("ss");
            plural || ["and", "both", "all", "x2", "x4"].contains(&word)
        });
    !point.is_empty() && !several
}
