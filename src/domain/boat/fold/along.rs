//! What an entry reaches along with what it names: riser and elbow with the wet exhaust, a cooler beside the others, what is
//! behind a seacock; and what it leaves full to the brim.

use std::sync::Arc;

use super::Folding;
use super::fitting;
use super::log::Entry;
use super::slot::Slot;
use super::target::Target;
use crate::domain::boat::{CircuitId, Evidence, Holds};
use crate::domain::catalogue::{CircuitSet, EffectKind, EventKind, Reason};

/// The whole raw path of an engine.
const RAW_PATH: &str = "ENGINE_RAW";
/// Circuits that fill from the sea when the seacock before them is opened.
const BEHIND_SEACOCK: &str = "BEHIND_SEACOCK";
/// Riser and elbow by their other words, in the point of an entry.
const RISER: &str = "exhaust_riser";
const RISERS: [&str; 2] = ["riser", "elbow"];

/// A slot by its circuit and its name, which stay when others are put in before it.
pub(super) type Along = (u8, Option<Arc<str>>);

impl Folding<'_> {
    /// An answer about what is aboard: it was heard before the first entry and settles nothing else.
    pub(super) fn is_about_what_is_aboard(&self, entry: &Entry<'_>) -> bool {
        let event = &*entry.event;
        let own = entry.kind.flags.answers && event.boat.is_some() && !event.mentions_damage();
        own && fitting::tells_of_it(event, self.boat, self.catalogue)
    }

    /// What of `targets` an entry reaches by itself, and what only hangs on that.
    pub(super) fn along(
        &self,
        entry: &Entry<'_>,
        targets: Vec<Target>,
    ) -> (Vec<Target>, Vec<Along>) {
        let carries = matches!(
            entry.kind.effect,
            EffectKind::Set
                | EffectKind::Water
                | EffectKind::Blend
                | EffectKind::Reading
                | EffectKind::LoopReading
                | EffectKind::Lose
                | EffectKind::Drain
                | EffectKind::ConfirmDrained
        );
        if !carries || !self.slots.iter().any(|slot| slot.kind.hangs_on_another()) {
            return (targets, Vec::new());
        }
        let (reached, own) = self.reached(entry, &targets);
        let may = entry.kind.may_reach.unwrap_or(CircuitSet::ALL);
        let hangs = |slot: &Slot<'_>| {
            let on = |id: CircuitId| self.catalogue.place_of(&id);
            may.contains(slot.place)
                && !own.contains(slot.place)
                && slot.kind.follows().filter_map(on).any(|place| reached.contains(place))
        };
        let along: Vec<Along> = self
            .slots
            .iter()
            .filter(|slot| hangs(slot) && self.is_of_the_same(slot, &targets))
            .map(|slot| (slot.place, slot.instance.clone()))
            .collect();
        let is_along = |target: &Target| {
            self.slots.get(target.slot).is_some_and(|slot| {
                along.iter().any(|(place, name)| *place == slot.place && *name == slot.instance)
            })
        };
        (targets.into_iter().filter(|target| !is_along(target)).collect(), along)
    }

    /// Every circuit that an entry reaches, fitted or not, and those of them that stand in its own list or in that of its kind.
    fn reached(&self, entry: &Entry<'_>, targets: &[Target]) -> (CircuitSet, CircuitSet) {
        let kind = entry.kind;
        let group = |id: &CircuitId| self.catalogue.group(id).unwrap_or(CircuitSet::EMPTY);
        let own =
            entry.event.circuits.iter().map(group).fold(kind.always_reaches, CircuitSet::union);
        let mut reached = own;
        let own =
            if entry.event.circuits.is_empty() { own.union(kind.default_circuits) } else { own };
        let slots = targets.iter().filter_map(|target| self.slots.get(target.slot));
        slots.for_each(|slot| reached.insert(slot.place));
        let raw = group(&CircuitId::from(RAW_PATH));
        let whole = entry.event.circuits.is_empty() && kind.default_circuits == raw;
        // A point that names one part of the path is that part alone.
        let part = whole && raw.without(reached).intersection(self.fitted()) != CircuitSet::EMPTY;
        if kind.reaches_run_path || whole && !part {
            reached = reached.union(raw);
        }
        (reached, own)
    }

    fn fitted(&self) -> CircuitSet {
        let mut fitted = CircuitSet::EMPTY;
        self.slots.iter().for_each(|slot| fitted.insert(slot.place));
        fitted
    }

    /// Of several engines only what hangs on those that were reached.
    fn is_of_the_same(&self, slot: &Slot<'_>, targets: &[Target]) -> bool {
        let own = |target: &Target| {
            let other = self.slots.get(target.slot)?;
            (other.kind.instance_noun == slot.kind.instance_noun).then_some(&other.instance)
        };
        let mut of_kind = targets.iter().filter_map(own).peekable();
        of_kind.peek().is_none() || of_kind.any(|instance| *instance == slot.instance)
    }

    /// What it does to them: the same, claimed at most.
    pub(super) fn take_along(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        water: Holds,
        along: &[Along],
    ) {
        if along.is_empty() {
            return;
        }
        let entry = entry.without_litres();
        let named = entry.event.mentions_in_point(&RISERS);
        for (place, name) in along {
            let find = |slot: &Slot<'_>| slot.place == *place && slot.instance == *name;
            let Some(at) = self.slots.iter().position(find) else { continue };
            let before = self.slots.get(at).map(|slot| (slot.holds, slot.evidence));
            // A reading speaks only for what antifreeze was put in, here as elsewhere.
            let reading = entry.kind.effect == EffectKind::Reading;
            if reading && before.is_none_or(|(holds, _)| holds != Holds::Blend) {
                continue;
            }
            self.apply(number, &entry, water, &[Target { slot: at, unnamed: false }]);
            let Some(slot) = self.slots.get_mut(at) else { continue };
            let stronger = before.is_some_and(|(_, evidence)| slot.evidence > evidence);
            let by_name = named && slot.kind.id.as_str() == RISER;
            if (stronger || slot.set_by == Some(number)) && !by_name {
                slot.evidence = slot.evidence.min(Evidence::Claimed);
                slot.rule(number, Reason::Along);
            }
        }
    }

    /// What the plug of the bilge does not drain on a boat of this kind: the void of a keel.
    pub(super) fn not_by_plug(&self, kind: &EventKind) -> CircuitSet {
        let drains_bilge = kind.effect == EffectKind::Set && kind.id == "plug_out";
        let fitout = self.catalogue.fitout(&self.boat.kind).filter(|_| drains_bilge);
        let voids: Vec<CircuitId> =
            fitout.map(|fitout| fitout.not_by_plug().collect()).unwrap_or_default();
        self.catalogue.set_of(&voids)
    }

    /// Afloat what is behind an opened seacock fills with what she floats in.
    pub(super) fn fill_behind_the_seacock(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        water: Holds,
    ) {
        let behind = self.catalogue.group(&CircuitId::from(BEHIND_SEACOCK));
        let behind = behind.unwrap_or(CircuitSet::EMPTY);
        let (grade, at) = (entry.grade(), entry.event.happened_at);
        for slot in self.slots.iter_mut().filter(|slot| behind.contains(slot.place)) {
            slot.undo(water, grade, number, at);
        }
    }

    /// A tank that an entry says is full to its vent.
    pub(super) fn fill_to_the_vent(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        targets: &[Target],
    ) {
        let event = &*entry.event;
        let texts = [&event.method, &event.point, &event.note].into_iter().flatten();
        let mut texts = texts.filter(|text| self.catalogue.is_brimful_in_words(text));
        let full = self.catalogue.limits().tank_full_percent;
        if texts.next().is_none() && event.percent.is_none_or(|percent| percent < full) {
            return;
        }
        for target in targets {
            let Some(slot) = self.slots.get_mut(target.slot) else { continue };
            if slot.kind.when_full.is_some() && !slot.holds.is_protected() {
                slot.brimful = true;
                slot.event(number);
            }
        }
    }
}
