//! The fold from the lay-up log to what is in each circuit and why.
//!
//! The newest entry that touches a circuit decides what is in it; an entry that cannot be shown to have reached a circuit
//! leaves it as it was. What each kind of entry does stands in `config/catalogue/events.csv`; here those rows are
//! interpreted. The fold depends on its arguments alone, and not on the order of the entries that it is given.

mod along;
mod answer;
mod blend;
mod effect;
mod fitting;
mod heat;
mod liquids;
mod log;
mod naming;
mod order;
mod reading;
mod remark;
mod render;
mod season;
mod seen;
mod sides;
mod slot;
mod target;
mod whereabouts;
mod asked;
mod folding;

use std::borrow::Borrow;

use chrono::{DateTime, Utc};

use super::{Boat, BoatState, LayupEvent, Places};
use crate::domain::catalogue::{
    Catalogue, CircuitSet, EffectKind, Evidence, Holds, Reason, WaterSource,
};
use fitting::Fitting;
pub use fitting::{answered_cooling, cooling_told};
use folding::Folding;
pub use heat::heat_of_place;
pub(super) use log::withdrawn;
use log::{Entry, is_engine_blend, local_time};
pub use naming::{engines_of, stranger};
use slot::Slot;
use target::Target;

/// What is in each circuit of `boat` at `at`, by what the yard knew at `known_at`.
///
/// `events` are this boat's and those of its places, in any order, also such as lie after either instant. Circuits come in
/// the walk order of the catalogue; an instance that an entry names stands before the others of its circuit.
///
/// It is always the whole log that is folded: a third of a microsecond an entry, however long the log. Reading states that
/// were kept would take half as long as making them anew (`tests/bench/fold.rs`), and a kept one can be stale.
#[must_use]
pub fn fold<E: Borrow<LayupEvent>>(
    boat: &Boat,
    places: &(impl Places + ?Sized),
    events: &[E],
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
    catalogue: &Catalogue,
) -> BoatState {
    let entries = log::entries(&boat.id, events, at, known_at, catalogue);
    let fitting = Fitting::of(boat, events, known_at, catalogue);
    let mut folding = Folding::start((boat, fitting), places, &entries, at, catalogue);
    for number in 0..entries.len() {
        folding.take(number, &entries, places);
    }
    folding.season_to(at);
    render::state(&folding, &entries, at, known_at)
}

/// Words of a way on the water on which no engine runs.
const TOWED: [&str; 5] = ["towed", "tow ", "in tow", "by hand", "trailer"];

impl<'a> Folding<'a> {
    /// Lets the season pass to `moment`.
    fn season_to(&mut self, moment: DateTime<Utc>) {
        if self.season.ends_before(moment) {
            self.slots.iter_mut().for_each(|slot| slot.end_sheet(None));
        }
    }

    fn take(&mut self, number: usize, entries: &'a [Entry<'a>], places: &(impl Places + ?Sized)) {
        let Some(entry) = entries.get(number) else { return };
        let event = &*entry.event;
        self.season_to(event.happened_at);
        let was_afloat = self.whereabouts.afloat;
        let site_before = self.whereabouts.site.clone();
        self.whereabouts.take(number, entry, places);
        if was_afloat && !self.whereabouts.afloat {
            self.ask_how_she_came(number);
        }
        if self.is_about_what_is_aboard(entry) {
            return;
        }
        let water = self.water(entry);
        let flags = entry.kind.flags;
        let here = event.site.as_ref().is_none_or(|site| *site == self.whereabouts.site);
        if event.boat.is_some() || here {
            self.order.listen(number, entry);
        }
        if event.boat.is_none() {
            // A yard may roll the season over for a whole place.
            if flags.ends_sheet && here {
                self.slots.iter_mut().for_each(|slot| slot.end_sheet(Some(number)));
            }
            return;
        }
        if flags.ends_sheet {
            self.slots.iter_mut().for_each(|slot| slot.end_sheet(Some(number)));
        }
        self.open_season(number, entry);
        let targets = self.targets(number, entry, water.open);
        let (targets, along) = self.along(entry, targets);
        self.check_order(number, entry, &targets);
        let before = self.disagreeing(entry, entries, &targets);
        let heard = self.hear(entry, &targets);
        self.apply(number, entry, water.holds, &targets);
        self.take_along(number, entry, water.holds, &along);
        self.fill_to_the_vent(number, entry, &targets);
        self.ask_about_the_breaker(number, entry);
        self.ask_where_denied(number, entry);
        self.heed(number, entry, heard, water.open);
        if !was_afloat && self.whereabouts.afloat {
            self.take_to_the_water(number, entry);
        }
        let berth = site_before != self.whereabouts.site;
        if self.whereabouts.afloat && (!was_afloat || berth) {
            self.ask_how_she_went(number, entry);
        }
        self.keep_the_less_protected(number, before);
        if flags.run || is_engine_blend(entry) {
            self.mix_loops(entry, &targets);
        }
    }

    /// However she came to float, what is below the waterline holds what she floats in.
    fn take_to_the_water(&mut self, number: usize, entry: &Entry<'_>) {
        let Some(launched) = self.catalogue.event("launched") else { return };
        let reached = launched.always_reaches.union(launched.default_circuits);
        let around = self.whereabouts.facts.map_or(Holds::Fresh, |facts| facts.water);
        let (grade, at) = (entry.grade(), entry.event.happened_at);
        for slot in self.slots.iter_mut().filter(|slot| reached.contains(slot.place)) {
            if slot.set_by != Some(number) {
                slot.undo(around, grade, number, at);
            }
        }
    }

    /// A run mixes the loops of the engines that ran: those of a generator or a heater only where the entry names them.
    fn mix_loops(&mut self, entry: &Entry<'_>, targets: &[Target]) {
        let mut named = CircuitSet::EMPTY;
        for id in &entry.event.circuits {
            named = self.catalogue.named(id).map_or(named, |name| named.union(name.set));
        }
        let ran: Vec<_> = targets
            .iter()
            .filter_map(|target| self.slots.get(target.slot))
            .filter(|slot| slot.kind.instance_noun == "engine")
            .map(|slot| slot.instance.clone())
            .collect();
        let of_generator = |slot: &Slot<'_>| slot.kind.groups().any(|group| group == "GEN");
        let generator =
            self.slots.iter().any(|slot| named.contains(slot.place) && of_generator(slot));
        for slot in self.slots.iter_mut().filter(|slot| slot.needs_mixing) {
            let mixed = match slot.kind.instance_noun.as_str() {
                _ if of_generator(slot) => generator,
                "engine" => ran.is_empty() || ran.contains(&slot.instance),
                _ => named.contains(slot.place),
            };
            slot.needs_mixing = !mixed;
        }
    }

    /// The first run of spring, or putting back in commission: the boat is in use again, and what was done for the winter and is
    /// not reached keeps its state, claimed at most.
    fn open_season(&mut self, number: usize, entry: &Entry<'_>) {
        let flags = entry.kind.flags;
        let spring = local_time(&entry.event).and_then(|local| self.season.spring_began(local));
        let before = match spring {
            _ if flags.recommissions => entry.event.happened_at,
            Some(began) if flags.run => began,
            _ => return,
        };
        let mut capped = false;
        for slot in &mut self.slots {
            let of_winter = slot.since.is_some_and(|since| since <= before);
            if of_winter && slot.holds.is_protected() {
                slot.evidence = slot.evidence.min(Evidence::Claimed);
                slot.rule(number, Reason::SpringOpened);
                capped = true;
            }
        }
        if capped {
            self.order.ask_once(number, Reason::SpringState);
        }
        if flags.recommissions {
            self.order.ask_once(number, Reason::TankAgain);
        }
    }

    /// Launched, or moved from berth to berth: under her own power the raw path is full of what she floats in. Only a way that
    /// the entry itself states shows that she was towed.
    fn ask_how_she_went(&mut self, number: usize, entry: &Entry<'_>) {
        if entry.event.states(&TOWED) {
            return;
        }
        let cooling = self.fitting.cooling;
        for slot in self.slots.iter_mut().filter(|slot| slot.set_by != Some(number)) {
            if slot.kind.is_wetted_by_run(cooling, true) {
                slot.doubt(number, Reason::WentAfloat, Reason::OwnPower);
            }
        }
    }

    /// What was done against frost in the water is undone by a run to the lift, which not everybody enters.
    fn ask_how_she_came(&mut self, number: usize) {
        for slot in &mut self.slots {
            let raw = slot.kind.groups().any(|group| group == "ENGINE_RAW");
            if raw && matches!(slot.holds, Holds::Blend | Holds::Drained | Holds::Dry) {
                slot.ask(number, Reason::WayToLift);
            }
        }
    }

    /// The slots that another sheet has set for the same moment, as they stand before `entry`.
    fn disagreeing(
        &self,
        entry: &Entry<'_>,
        entries: &[Entry<'_>],
        targets: &[Target],
    ) -> Vec<(usize, Slot<'a>)> {
        targets
            .iter()
            .filter_map(|target| {
                let slot = self.slots.get(target.slot)?;
                let last = entries.get(slot.set_by?)?;
                last.disagrees_with(entry).then(|| (target.slot, slot.clone()))
            })
            .collect()
    }

    /// Of two sheets that say different things of one moment the less protected stands, unless the other measured.
    fn keep_the_less_protected(&mut self, number: usize, before: Vec<(usize, Slot<'a>)>) {
        for (place, earlier) in before {
            let Some(slot) = self.slots.get_mut(place) else { continue };
            if slot.evidence < Evidence::Measured && slot.is_better_protected_than(&earlier) {
                *slot = earlier;
                slot.rule(number, Reason::SheetsDisagree);
                slot.ask(number, Reason::WhichSheet);
            }
        }
    }

    fn apply(&mut self, number: usize, entry: &Entry<'_>, water: Holds, targets: &[Target]) {
        match entry.kind.effect {
            EffectKind::None => self.mention(number, entry, targets),
            EffectKind::Set => self.set(number, entry, targets),
            EffectKind::Water => self.fill(number, entry, water, targets),
            EffectKind::Blend => self.blend(number, entry, targets),
            EffectKind::Reading => self.reading(number, entry, targets),
            EffectKind::LoopReading => self.loop_reading(number, entry, targets),
            EffectKind::Lose => self.lose(number, entry, targets),
            EffectKind::Drain => self.drain(number, entry, targets),
            EffectKind::ConfirmDrained => self.confirm_drained(number, entry, targets),
            EffectKind::GearOil => self.gear_oil(number, entry, targets),
            EffectKind::Volts => self.volts(number, entry, targets),
            EffectKind::Inspect => self.inspect(number, entry, targets),
            EffectKind::Ice => self.ice(number, entry, targets),
            EffectKind::Damage => self.damage(number, targets),
            EffectKind::Clear => self.answered(number, entry, targets),
            EffectKind::SeacockOpen => self.seacock_open(number, entry, water, targets),
        }
    }

    /// The water that an entry brings, and whether it comes from open water (sea, lake, or the boat floats).
    fn water(&self, entry: &Entry<'_>) -> Water {
        let floats = self.whereabouts.afloat;
        let around = self.whereabouts.facts.map_or(Holds::Fresh, |facts| facts.water);
        match entry.kind.water {
            None => Water { holds: Holds::Fresh, open: floats },
            Some(WaterSource::Fresh) => Water { holds: Holds::Fresh, open: false },
            Some(WaterSource::Ambient) => Water { holds: around, open: true },
            Some(WaterSource::Method) => {
                let event = &*entry.event;
                let told = |words: &Option<String>| words.as_deref().and_then(water_in_words);
                let remark = told(&event.note);
                match told(&event.method) {
                    Some(Water { holds, open }) => Water { holds, open: open || floats },
                    // A remark may say that it was fresh water or open water, and makes no water saltier.
                    None => {
                        let fresh = remark.is_some_and(|water| water.holds == Holds::Fresh);
                        let open = floats || remark.is_some_and(|water| water.open);
                        let holds = if floats && !fresh { around } else { Holds::Fresh };
                        Water { holds, open }
                    }
                }
            }
        }
    }
}

/// What runs in with an entry.
#[derive(Clone, Copy)]
struct Water {
    holds: Holds,
    open: bool,
}

/// The source of water that an entry names in words.
fn water_in_words(words: &str) -> Option<Water> {
    let words = words.to_lowercase();
    let has = |names: &[&str]| {
        words.split(|letter: char| !letter.is_alphanumeric()).any(|word| names.contains(&word))
    };
    if has(&["hose", "tap", "muffs", "bucket"]) {
        Some(Water { holds: Holds::Fresh, open: false })
    } else if has(&["lake", "river", "pond"]) {
        Some(Water { holds: Holds::Fresh, open: true })
    } else if has(&["sea", "harbour", "harbor", "salt", "bay", "ocean"]) {
        Some(Water { holds: Holds::Sea, open: true })
    } else {
        None
    }
}
