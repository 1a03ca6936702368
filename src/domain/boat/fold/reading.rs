//! Readings of blends and coolants: what each is worth by scale, unit, point and fluid.

use chrono::{DateTime, Utc};

use super::blend::{solute_of, strongest_first_ice_c};
use super::effect::note_unnamed;
use super::folding::Folding;
use super::log::Entry;
use super::naming;
use super::sides::{names_other_parts, one_side};
use super::slot::Slot;
use super::target::Target;
use crate::domain::boat::{Evidence, Holds, LayupEvent, Precision};
use crate::domain::catalogue::{AfterColdRun, CircuitKind, Reason};
use crate::domain::physics::{STRONGEST, Solute};
use crate::domain::units::Celsius;

/// A refractometer is read to so many kelvin, and labels are round.
const READ_WITHIN_K: f64 = 3.0;

/// The warmest that a usual antifreeze is read at, C: what a reading without its number counts for.
const LEAST_USUAL_C: f64 = -9.0;
/// Points of a reading where everything comes out, and not the part itself.
const OF_OUTLETS: [&str; 8] =
    ["exhaust", "outlet", "muffler", "transom", "tailpipe", "overboard", "hub", "discharge"];

/// What was read is the product and not what is in the part; or the instrument is not to be believed.
const OF_THE_JUG: [&str; 13] = [
    "jug",
    "bucket",
    "pail",
    "drum",
    "bottle",
    "supply tank",
    "recycle tank",
    "new product",
    "container",
    "uncalibrated",
    "not calibrated",
    "reads low",
    "reads high",
];
/// Points of a reading that belong to the house water and to no engine.
const OF_THE_HOUSE: [&str; 9] =
    ["galley", "sink", "tap", "faucet", "shower", "basin", "deck wash", "washdown", "toilet"];

/// Is the point a drain or a plug of the part itself, and not where everything comes out?
fn is_own_drain(event: &LayupEvent, kind: &CircuitKind) -> bool {
    let Some(point) = event.point.as_deref().map(str::to_lowercase) else { return false };
    let has = |words: &[&str]| words.iter().any(|word| point.contains(word));
    let of_exhaust = kind.id.as_str().starts_with("exhaust");
    let other = names_other_parts(event, kind);
    !other
        && has(&["drain", "plug", "cock"])
        && (of_exhaust || !has(&["exhaust", "outlet", "muffler"]))
}

/// What a reading is worth before it meets a circuit.
struct Worth {
    /// First ice in C; absent where no unit or no number is stated.
    value_c: Option<f64>,
    /// What makes it less than a measurement.
    doubts: Vec<Reason>,
    /// What the instrument was set to.
    solute: Option<Solute>,
    /// First ice of the weakest under the label that the entry itself names.
    label_weakest_c: Option<f64>,
}

impl Folding<'_> {
    pub(super) fn reading(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let event = &*entry.event;
        let listed = !event.circuits.is_empty();
        let mut taken = false;
        // Without a list it is the engine's outlet; a tap is none.
        let point = event.point.as_deref().unwrap_or_default().to_lowercase();
        if !listed
            && !entry.kind.flags.own_drain
            && OF_THE_HOUSE.iter().any(|word| point.contains(word))
        {
            self.order.ask(number, Reason::OutletAside, "");
            return;
        }
        // From the last slot to the first, so that a split does not move those that are still to come.
        for target in targets.iter().rev() {
            let Some(slot) = self.slots.get(target.slot) else { continue };
            if !listed && slot.holds != Holds::Blend && !entry.kind.flags.own_drain {
                continue;
            }
            taken = true;
            let read_c = read_c(event).0;
            let half_drained = slot.holds == Holds::Drained && slot.side_drained.is_some();
            let ice_at = if event.reading_unit.as_deref() == Some("F") { 32.0 } else { 0.0 };
            // Without its unit a number above zero is taken for the warmer of the two, which is water.
            let is_water = event.reading_value.is_some_and(|value| value >= ice_at);
            let of_jug = event.states(&OF_THE_JUG) || event.mentions(&OF_THE_JUG) && !is_water;
            // Read at its own drain, named alone, it speaks for itself.
            let named_here = is_own_drain(event, slot.kind);
            let unsaid = entry.kind.flags.own_drain && event.point.is_none();
            let sampled = entry.kind.flags.own_drain
                && (is_sample_point(event)
                    && entry.kind.default_circuits.contains(slot.place)
                    && !names_other_parts(event, slot.kind)
                    || named_here);
            let own = sampled || event.circuits.len() == 1 && named_here;
            // Unknown before counts as wet before.
            let wet = matches!(slot.holds, Holds::Fresh | Holds::Sea | Holds::Unknown);
            let side = one_side(event, slot);
            let other_read = slot.full_side_read.filter(|(of, _)| side.is_some_and(|s| s != *of));
            let one_of_two = wet && side.is_some() && other_read.is_none();
            let elsewhere = slot.kind.groups().any(|group| group == "HOUSE")
                && slot.kind.instance_noun != "outlet"
                && !self.is_named_by_point(event, slot.kind);
            let aside = match () {
                () if event.reading_value.is_none() => Some((Reason::NoNumber, Reason::Retest)),
                () if of_jug => Some((Reason::OfTheJug, Reason::Retest)),
                () if unsaid && !is_water => Some((Reason::NoPoint, Reason::ProveBlock)),
                () if half_drained || one_of_two && !is_water => {
                    Some((Reason::SideSampled, Reason::Others))
                }
                () if is_water || own => None,
                // Of what is known to hold water an outlet shows nothing: somebody must have put antifreeze in since.
                () if wet => Some((Reason::OutletNotHere, Reason::OutletAside)),
                () if elsewhere => Some((Reason::OutletNotHere, Reason::Retest)),
                () => None,
            };
            if let Some((why, ask)) = aside {
                let Some(slot) = self.slot(*target) else { continue };
                if why == Reason::SideSampled && wet && own {
                    slot.full_side_read = side.zip(read_c);
                }
                slot.event(number);
                slot.rule(number, why);
                slot.ask(number, ask);
                // Who reads something off a drained part found something in it.
                if matches!(slot.holds, Holds::Drained | Holds::Dry) && why == Reason::NoNumber {
                    slot.evidence = slot.evidence.min(Evidence::Claimed);
                }
                slot.lowered_to(read_c.unwrap_or(LEAST_USUAL_C));
                continue;
            }
            let behind_thermostat = slot.kind.after_cold_run == AfterColdRun::Thermostat;
            let proven = slot.holds == Holds::Blend && slot.path_proven;
            let sample = entry.kind.flags.own_drain;
            if behind_thermostat && !own && !unsaid && (sample || !proven) {
                let Some(slot) = self.slot(*target) else { continue };
                slot.event(number);
                slot.rule(number, Reason::OutletNotBlock);
                slot.ask(number, Reason::ProveBlock);
                continue;
            }
            // Nor for a part that a cold run leaves as it was, where nothing shows that antifreeze got in.
            let stays = slot.kind.after_cold_run == AfterColdRun::Stays;
            if stays && !proven && !own && !is_water {
                let Some(slot) = self.slot(*target) else { continue };
                slot.event(number);
                slot.rule(number, Reason::OutletNotHere);
                slot.ask(number, Reason::ProveBlock);
                continue;
            }
            let slot_mixed = slot.mixed;
            let slot_set_by = slot.set_by;
            let slot_since = slot.since.filter(|_| slot.holds == Holds::Blend);
            let raw = slot.kind.groups().any(|group| group == "ENGINE_RAW");
            let behind_pump = raw && !own;
            let strongest_c = slot.label_strongest_c;
            let held = match slot.holds {
                Holds::Blend => slot.solute,
                // Nobody says what was filled in: what the instrument was set to.
                _ => slot.solute.or_else(|| set_to(event)),
            };
            let unknown_fluid = slot.unknown_fluid && slot.holds == Holds::Blend;
            let mut worth = self.worth(entry, held, strongest_c);
            if let Some((_, other_c)) = other_read {
                worth.value_c = worth.value_c.map(|own_c| own_c.max(other_c));
            }
            if unknown_fluid {
                worth.doubts.push(Reason::NotReadable);
            }
            if event.point.is_none() && !entry.kind.flags.own_drain {
                worth.doubts.push(Reason::NoPoint);
            }
            if slot_mixed {
                worth.doubts.push(Reason::Mixture);
            }
            let hour_known = slot_set_by.and_then(|number| self.hours_known.get(number));
            let hour_known = hour_known.copied().unwrap_or(true);
            let later = |run| self.is_read_later(entry, (run, hour_known));
            if behind_pump && slot_since.is_some_and(later) {
                worth.doubts.push(Reason::ReadLater);
            }
            let target = self.at_outlet(number, entry, *target);
            if let Some(slot) = self.slot(target) {
                take_reading(slot, number, entry, target, Holds::Blend, &worth);
            }
        }
        if !taken {
            self.order.ask(number, Reason::OutletAside, "");
        }
    }

    /// Was it read when what was put in at `run` no longer flowed? On another day, or hours later where the hour is known.
    fn is_read_later(&self, entry: &Entry<'_>, (run, hour_known): (DateTime<Utc>, bool)) -> bool {
        let event = &*entry.event;
        let day = |at: DateTime<Utc>| {
            (at.timestamp() + i64::from(event.happened_offset_s)).div_euclid(86_400)
        };
        let minutes = (event.happened_at - run).as_seconds_f64() / 60.0;
        let late = minutes > self.catalogue.limits().outlet_read_within_min;
        let by_hours = hour_known && event.precision == Precision::Minute;
        day(run) != day(event.happened_at) || late && by_hours
    }

    /// Does the point of a reading name this very part, by its label or in the yard's words?
    fn is_named_by_point(&self, event: &LayupEvent, kind: &CircuitKind) -> bool {
        let Some(point) = event.point.as_deref() else { return false };
        let found = self.catalogue.circuits_worded(point);
        found.is_some_and(|found| found.contains(&kind.id))
    }

    /// The slot that an outlet reading speaks for: of lines with many outlets only the one that was read.
    fn at_outlet(&mut self, number: usize, entry: &Entry<'_>, target: Target) -> Target {
        let Some(slot) = self.slots.get(target.slot) else { return target };
        if slot.kind.instance_noun != "outlet" || entry.event.instance.is_some() {
            return target;
        }
        let (place, is_rest) = (slot.place, slot.rest || slot.instance.is_none());
        let Some(name) = naming::outlet(&entry.event).filter(|_| is_rest) else { return target };
        let known = self.slots.iter().position(|slot| {
            slot.place == place && slot.instance.as_deref() == Some(name.as_str())
        });
        let at = known.unwrap_or_else(|| self.split(target.slot, target.slot + 1, &name));
        if let Some(rest) = self.slots.get_mut(at + 1).filter(|slot| slot.place == place) {
            rest.ask(number, Reason::Retest);
        }
        Target { slot: at, unnamed: false }
    }

    pub(super) fn loop_reading(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        for target in targets {
            let Some(slot) = self.slots.get(target.slot) else { continue };
            // A loop of which nobody says what is in it is taken for what the instrument was set to.
            let set_to = set_to(&entry.event);
            if entry.event.reading_value.is_none() || entry.event.mentions(&OF_THE_JUG) {
                let none = entry.event.reading_value.is_none();
                let read_c = read_c(&entry.event).0;
                let Some(slot) = self.slot(*target) else { continue };
                if read_c.is_some_and(|read| read >= 0.0) && !entry.event.states(&OF_THE_JUG) {
                    slot.undo(Holds::Fresh, entry.grade(), number, entry.event.happened_at);
                    continue;
                }
                slot.lowered_to(read_c.unwrap_or(LEAST_USUAL_C));
                slot.event(number);
                slot.rule(number, if none { Reason::NoNumber } else { Reason::OfTheJug });
                slot.ask(number, Reason::LoopRetest);
                continue;
            }
            let mut worth = self.worth(entry, slot.solute.or(set_to), slot.label_strongest_c);
            // Loops hold ethylene glycol unless somebody says otherwise: another scale is one doubt more.
            let guessed = slot.solute.is_none() && entry.event.fluid.is_none();
            if guessed && set_to == Some(Solute::PropyleneGlycol) {
                worth.doubts.push(Reason::FluidNotSaid);
            }
            let Some(slot) = self.slot(*target) else { continue };
            if slot.needs_mixing {
                slot.event(number);
                slot.rule(number, Reason::NotMixed);
                slot.ask(number, Reason::LoopRetest);
            } else {
                take_reading(slot, number, entry, *target, Holds::Coolant, &worth);
            }
        }
    }

    /// `strongest_c`: first ice of the strongest that the label of what was put in before allows.
    fn worth(&self, entry: &Entry<'_>, solute: Option<Solute>, strongest_c: Option<f64>) -> Worth {
        let event = &*entry.event;
        let mut doubts = Vec::new();
        let (value_c, unit_told) = read_c(event);
        if !unit_told {
            doubts.push(Reason::NoUnit);
        }
        let fluid = event.fluid.as_deref();
        let product = fluid.and_then(|fluid| self.catalogue.product_of_fluid(fluid));
        let wanted = match (product, solute) {
            (Some(product), _) if !product.is_readable() => {
                doubts.push(Reason::NotReadable);
                None
            }
            (Some(product), _) => Some(product.readable.as_str()),
            (None, Some(Solute::PropyleneGlycol)) if fluid.is_none() => Some("PG"),
            (None, Some(Solute::EthyleneGlycol)) if fluid.is_none() => Some("EG"),
            (None, Some(_)) if fluid.is_none() => {
                doubts.push(Reason::NotReadable);
                None
            }
            _ => {
                doubts.push(Reason::NoLabel);
                None
            }
        };
        // An instrument set to one fluid says nothing of another, nor of a mixture of two.
        if let (Some(read), Some(held)) = (product.and_then(solute_of), solute)
            && read != held
        {
            doubts.push(Reason::NotReadable);
        }
        // `Propylene glycol` on an instrument is the scale PG.
        let scale = event.scale.as_deref().map(|scale| match plain_scale(scale).as_str() {
            words if words.starts_with("propylene") || words == "pg" => "PG",
            words if words.starts_with("ethylene") || words == "eg" => "EG",
            _ => scale,
        });
        match (scale, wanted) {
            (None, _) => doubts.push(Reason::NoScale),
            (Some(scale), Some(wanted)) if !scale.eq_ignore_ascii_case(wanted) => {
                doubts.push(Reason::WrongScale);
            }
            _ => {}
        }
        let labelled = fluid
            .zip(event.label.as_deref())
            .and_then(|(fluid, label)| self.catalogue.product(fluid, label));
        let read_as = product.and_then(solute_of).or(solute);
        let own_strongest_c = labelled.and_then(strongest_first_ice_c);
        let end_c = read_as.map(|solute| solute.first_ice_c(STRONGEST));
        let coldest_c = own_strongest_c.or(strongest_c).or(end_c);
        if value_c.zip(coldest_c).is_some_and(|(read, coldest)| read < coldest - READ_WITHIN_K) {
            doubts.push(Reason::TooCold);
        }
        Worth {
            value_c,
            doubts,
            solute: read_as,
            label_weakest_c: labelled.and_then(|product| product.first_ice_weak_c),
        }
    }
}

/// The reading in C, and whether its unit is told. Without one it is the warmer of what it can be in C and in F: a bare 2 is
/// water.
pub(super) fn read_c(event: &LayupEvent) -> (Option<f64>, bool) {
    let in_f = |value: f64| Celsius::from_fahrenheit(value).ok().map(Celsius::value);
    match (event.reading_value, event.reading_unit.as_deref()) {
        (Some(value), Some("F")) => (in_f(value), true),
        (Some(value), Some(_)) => (Some(value), true),
        (Some(value), None) => (in_f(value).map(|f| f.max(value)), false),
        (None, _) => (None, false),
    }
}

/// Does the point say a place of the part itself, where a sample can be drawn?
fn is_sample_point(event: &LayupEvent) -> bool {
    let Some(point) = event.point.as_deref().map(str::to_lowercase) else { return false };
    let elsewhere = [&OF_OUTLETS[..], &OF_THE_HOUSE[..], &OF_THE_JUG[..]].concat();
    !elsewhere.iter().any(|word| point.contains(word))
}

/// `P.G.` and `pg scale` are `pg`.
fn plain_scale(scale: &str) -> String {
    scale.to_lowercase().replace("scale", "").replace('.', "").trim().to_owned()
}

/// The fluid whose scale the instrument was set to.
fn set_to(event: &LayupEvent) -> Option<Solute> {
    match event.scale.as_deref().map(|scale| plain_scale(scale).to_uppercase()).as_deref() {
        Some("PG") => Some(Solute::PropyleneGlycol),
        Some("EG") => Some(Solute::EthyleneGlycol),
        _ => None,
    }
}

fn take_reading(
    slot: &mut Slot<'_>,
    number: usize,
    entry: &Entry<'_>,
    target: Target,
    holds: Holds,
    worth: &Worth,
) {
    let event = &*entry.event;
    let doubtful = !worth.doubts.is_empty();
    let mut grade = entry.grade();
    // What freezes at 0 C or above is water, on whatever scale it was read.
    if worth.value_c.is_some_and(|value| value >= 0.0) {
        slot.undo(Holds::Fresh, grade, number, event.happened_at);
        if worth.doubts.contains(&Reason::NoUnit) {
            slot.rule(number, Reason::NoUnit);
            slot.ask(number, Reason::Retest);
        }
        return;
    }
    if doubtful {
        grade = grade.min(Evidence::Recorded);
    }
    if target.unnamed {
        grade = grade.min(Evidence::Claimed);
    }
    let same = slot.holds == holds;
    if doubtful && same {
        // What is no measurement shows no more than was known, and takes nothing from who put it in.
        grade = slot.evidence.min(Evidence::Recorded);
    }
    if doubtful && same && slot.evidence == Evidence::Measured {
        // A reading that is worth nothing does not push out one that was, nor hides that it was warmer.
        slot.event(number);
        slot.lowered_to(worth.value_c.unwrap_or(LEAST_USUAL_C));
        worth.doubts.iter().for_each(|doubt| slot.rule(number, *doubt));
        return;
    }
    let weakest = slot.label_weakest_c.filter(|_| same).or(worth.label_weakest_c);
    let mut first_ice_c = match (worth.value_c, doubtful) {
        (Some(value), false) => Some(value),
        (Some(value), true) => weakest.map(|weakest| value.max(weakest)),
        (None, _) => weakest,
    };
    let minute = |at: chrono::DateTime<chrono::Utc>| at.timestamp().div_euclid(60);
    let twice = same && slot.read_at.is_some_and(|at| minute(at) == minute(event.happened_at));
    let known = slot.first_ice_c.filter(|_| same);
    let pointless = worth.doubts.contains(&Reason::NoPoint);
    if doubtful && (known.is_some() || pointless) {
        // What is no measurement makes nothing stronger, and where it was taken nobody says gives no strength at all.
        first_ice_c = first_ice_c.zip(known).map(|(now, before)| now.max(before));
    } else if let (true, Some(before), Some(now)) = (twice, slot.first_ice_c, first_ice_c) {
        first_ice_c = Some(now.max(before));
    }
    // It shows that somebody was there, and not that anything got in.
    if doubtful && !same {
        grade = grade.min(Evidence::Claimed);
    }
    // Of two sides the weaker stands, whichever was sampled last.
    let side = one_side(event, slot);
    let of_side = side.zip(first_ice_c);
    let other = slot.side_read.filter(|(of, _)| same && side.is_some_and(|side| side != *of));
    if let (Some((_, other_c)), Some(own_c)) = (other, first_ice_c) {
        first_ice_c = Some(own_c.max(other_c));
    }
    let of_side = if other.is_some_and(|(_, c)| first_ice_c == Some(c)) { other } else { of_side };
    if first_ice_c.is_some_and(|first_ice| first_ice >= 0.0) {
        slot.undo(Holds::Fresh, grade, number, event.happened_at);
        return;
    }
    if same {
        slot.evidence = grade;
        slot.undone_by = None;
        slot.event(number);
        // What is no measurement answers nothing.
        if !doubtful {
            slot.questions.clear();
        }
    } else {
        slot.protect(holds, grade, number, event.happened_at);
        slot.label_weakest_c = worth.label_weakest_c;
    }
    slot.first_ice_c = first_ice_c;
    slot.side_read = of_side;
    // What is no measurement does not say what is in there either.
    if !(doubtful && same) {
        slot.solute = worth.solute;
    }
    slot.read_at = (!doubtful).then_some(event.happened_at);
    worth.doubts.iter().for_each(|doubt| slot.rule(number, *doubt));
    if twice {
        slot.rule(number, Reason::WarmerStands);
    }
    if doubtful {
        slot.ask(number, Reason::Retest);
    }
    note_unnamed(slot, number, target);
}
