//! Remarks: what they say acts as the typed entry would, until its question is answered; none makes anything worth more.

use super::Folding;
use super::log::Entry;
use super::naming;
use super::slot::Slot;
use super::target::Target;
use crate::domain::boat::{Evidence, Holds};
use crate::domain::catalogue::{
    CircuitSet, EffectKind, EventClass, EventKind, PlaceEffect, Reason, Remark, Says, remark_words,
};

/// A remark that leaves something open, and the parts as they stood before its entry.
pub(super) struct Heard<'a> {
    remark: Remark,
    named: CircuitSet,
    before: Vec<(usize, Slot<'a>)>,
}

/// Do remarks on such an entry say something of the lay-up? Those of what undoes, asks or switches cannot make it worse.
fn counts(kind: &EventKind) -> bool {
    let flags = kind.flags;
    let other = matches!(kind.effect, EffectKind::Ice | EffectKind::Damage | EffectKind::Clear);
    let covers = matches!(kind.place, Some(PlaceEffect::Covered | PlaceEffect::Uncovered));
    let switches = kind.mitigation.is_some() || flags.asks || flags.answers;
    let declines = kind.question == Some(Reason::Declined);
    kind.class != EventClass::Undoing && !(other || covers || switches || declines)
}

impl<'a> Folding<'a> {
    /// Hears the remark of an entry before it is taken.
    pub(super) fn hear(&self, entry: &Entry<'_>, targets: &[Target]) -> Option<Heard<'a>> {
        let remark = entry.event.remark().filter(|remark| remark.asks() && counts(entry.kind))?;
        let before = targets.iter().filter_map(|target| {
            let slot = self.slots.get(target.slot)?;
            Some((target.slot, slot.clone()))
        });
        // A part that such an entry cannot be about is not meant: the pump of a toilet is no raw-water pump.
        let may = entry.kind.may_reach.unwrap_or(CircuitSet::ALL);
        let named = self.parts_named(entry.event.note.as_deref().unwrap_or_default());
        let named = named.without(CircuitSet::ALL.without(may));
        Some(Heard { remark, named, before: before.collect() })
    }

    /// The circuits that a text names word by word.
    fn parts_named(&self, text: &str) -> CircuitSet {
        let words: Vec<String> = remark_words().words_of(text).collect();
        let pairs = words.windows(2).map(|pair| pair.join(" "));
        let found = words.iter().cloned().chain(pairs);
        found
            .filter(|word| word.len() > 2)
            .filter_map(|word| self.catalogue.circuits_worded(&word))
            .flatten()
            .filter_map(|id| self.catalogue.place_of(&id))
            .fold(CircuitSet::EMPTY, |mut set, place| {
                set.insert(place);
                set
            })
    }

    /// Lets a remark act, after its entry was taken.
    pub(super) fn heed(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        heard: Option<Heard<'a>>,
        open: bool,
    ) {
        let Some(heard) = heard else { return };
        let told = entry.kind.flags.run || super::is_engine_blend(entry);
        if heard.remark.tells(Says::Ran) && !told {
            self.run_by_remark(number, entry, open);
        }
        let note = entry.event.note.as_deref().unwrap_or_default();
        let named = |slot: &Slot<'_>| {
            heard.named.contains(slot.place)
                && naming::may_mean(note, slot.kind, slot.instance.as_deref())
        };
        let fitted = self.slots.iter().any(|slot| heard.named.contains(slot.place));
        for place in 0..self.slots.len() {
            let Some(slot) = self.slots.get_mut(place) else { continue };
            let before = heard.before.iter().find(|(of, _)| *of == place).map(|(_, slot)| slot);
            let own = is_about(entry, slot, number, before);
            if if fitted { named(slot) } else { own } {
                act(slot, number, entry, &heard.remark, before.filter(|_| own));
            }
        }
        let asked = self.slots.iter().any(|slot| slot.is_asked_by(number));
        if !asked {
            self.order.ask(number, Reason::RemarkMeans, "");
        }
    }

    /// A run that stands only in a remark: the raw path holds the water of it.
    fn run_by_remark(&mut self, number: usize, entry: &Entry<'_>, open: bool) {
        let (cooling, at) = (self.fitting.cooling, entry.event.happened_at);
        for slot in &mut self.slots {
            if !slot.kind.is_wetted_by_run(cooling, open) {
                continue;
            }
            if slot.set_by == Some(number) && entry.kind.class == EventClass::Protecting {
                slot.doubt(number, Reason::RunInRemark, Reason::WasItRun);
            } else {
                let why = (Reason::RemarkRun, Reason::WasItRun);
                slot.wetted_by_remark(number, (Holds::Fresh, at), why);
            }
        }
    }
}

/// Is the entry about a part that stood as `before`: did it change what is known of it, or was it there to be read?
fn is_about(entry: &Entry<'_>, slot: &Slot<'_>, number: usize, before: Option<&Slot<'_>>) -> bool {
    let known = |slot: &Slot<'_>| (slot.evidence, slot.first_ice_c, slot.read_at);
    let listed = !entry.event.circuits.is_empty();
    let looks = entry.kind.class != EventClass::Protecting;
    slot.set_by == Some(number)
        || before.is_some_and(|before| {
            let filled = matches!(before.holds, Holds::Blend | Holds::Coolant);
            known(before) != known(slot) || looks && (listed || filled)
        })
}

/// What a remark does to one part that it is about; `before`: what it was, where its entry is about it.
fn act<'a>(
    slot: &mut Slot<'a>,
    number: usize,
    entry: &Entry<'_>,
    remark: &Remark,
    before: Option<&Slot<'a>>,
) {
    let protecting = entry.kind.class == EventClass::Protecting;
    let at = entry.event.happened_at;
    if remark.tells(Says::NotDone)
        || remark.tells(Says::NoFlow) && entry.kind.effect == EffectKind::Blend
    {
        if let Some(before) = before.filter(|before| !before.is_better_protected_than(slot)) {
            // What was not done leaves it as it was.
            let taken = std::mem::replace(slot, before.clone());
            slot.attempted = true;
            // Some of it may have got in all the same.
            slot.under = taken.antifreeze().or(slot.under);
            slot.instead = Some(Box::new(taken));
            slot.event(number);
            slot.rule(number, Reason::RemarkDenies);
            slot.ask(number, Reason::DoesItHold);
        } else {
            slot.doubt(number, Reason::RemarkDenies, Reason::DoesItHold);
        }
    }
    if remark.tells(Says::Refilled) {
        slot.wetted_by_remark(number, (Holds::Fresh, at), (Reason::RemarkWet, Reason::WasItUsed));
    }
    if remark.tells(Says::HalfDone) || remark.tells(Says::NoFlow) {
        half_done(slot, number, entry);
    }
    if remark.tells(Says::WaterSeen) {
        let drains = matches!(entry.kind.effect, EffectKind::Drain | EffectKind::ConfirmDrained);
        if protecting && drains {
            half_done(slot, number, entry);
        } else {
            slot.wetted_by_remark(
                number,
                (Holds::Fresh, at),
                (Reason::RemarkWet, Reason::WasItUsed),
            );
        }
    }
    let unclear = remark.foreign || remark.not_understood && remark.names;
    if unclear && slot.holds.is_protected() {
        slot.evidence = slot.evidence.min(Evidence::Recorded);
        slot.rule(number, Reason::RemarkUnclear);
        slot.ask(number, Reason::RemarkMeans);
    }
}

/// Not all of it: a pocket is left in what is called drained, and what antifreeze is in it has no known strength.
fn half_done(slot: &mut Slot<'_>, number: usize, entry: &Entry<'_>) {
    slot.doubt(number, Reason::RemarkHalf, Reason::DoesItHold);
    if matches!(slot.holds, Holds::Drained | Holds::Dry) {
        slot.closed_pocket = true;
        slot.holds = Holds::Drained;
    }
    if entry.kind.effect == EffectKind::Blend {
        slot.first_ice_c = None;
    }
}
