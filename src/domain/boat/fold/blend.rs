//! Antifreeze: where it can have got in, how strong the label lets it be called, and on what evidence.

use super::effect::{graded, note_unnamed};
use super::folding::Folding;
use super::log::{Entry, in_one_word};
use super::naming;
use super::slot::{Say, Slot, Under};
use super::target::Target;
use crate::domain::boat::{Evidence, Holds, LayupEvent};
use crate::domain::catalogue::{AfterColdRun, Confinement, Product, ProductFluid, Reason, Says};
use crate::domain::physics::{STRONGEST, Solute, dilute, mass_from_volume, volume_from_mass};
use crate::domain::units::{Litres, MassFraction};

/// A first ice that moves by less is within what a label leaves open, K.
const WORTH_TELLING_K: f64 = 0.2;

/// How the antifreeze was put in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    /// Run through with the engine cold, or nothing said.
    Cold,
    /// Run through with the engine warm and its thermostat open, or without one.
    Warm,
    /// Run through warm, and nothing shows that the thermostat was open.
    WarmThermostatUnknown,
    /// Filled, poured or pumped into drained parts.
    Filled,
}

/// What came of it in one slot.
enum Outcome {
    /// Nothing shows that it got in.
    Stays(Reason),
    /// It is blend, at most on this evidence, for this reason if it is a lesser grade.
    Blend { at_most: Evidence, why: Option<Reason>, path_proven: bool },
}

impl Under {
    /// Another antifreeze that stood in a circuit before, not drained.
    fn of(slot: &Slot<'_>, solute: Option<Solute>) -> Option<Self> {
        let under = slot.antifreeze().or(slot.under)?;
        // One that nobody names may be another.
        (under.mixed || under.solute != solute).then_some(under)
    }

    /// No stronger than the weaker of the two, and believed no further than it was said.
    fn mixed_into(self, slot: &mut Slot<'_>, number: usize) {
        let weaker = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| a.max(b));
        slot.mixed = true;
        slot.first_ice_c = weaker(slot.first_ice_c, self.first_ice_c);
        slot.label_weakest_c = weaker(slot.label_weakest_c, self.label_weakest_c);
        slot.evidence = slot.evidence.min(Evidence::Recorded);
        slot.rule(number, Reason::Mixture);
    }
}

impl Folding<'_> {
    pub(super) fn blend(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let event = &*entry.event;
        if event.fluid.as_deref().is_some_and(|fluid| fluid.to_lowercase().contains("water")) {
            return self.fill(number, entry, Holds::Fresh, targets);
        }
        let way = way(entry);
        let product = match (event.fluid.as_deref(), event.label.as_deref()) {
            (Some(fluid), Some(label)) => self.catalogue.product(fluid, label),
            (Some(fluid), None) => {
                self.catalogue.product_of_fluid(fluid).filter(|product| !product.is_readable())
            }
            _ => None,
        };
        let solute = event
            .fluid
            .as_deref()
            .and_then(|fluid| self.catalogue.product_of_fluid(fluid))
            .and_then(solute_of);
        let heater_in_the_way = entry.kind.flags.taps && self.heater_in_the_way();
        let wet_l = self.wet_litres(targets);
        let emptied_l = self.emptied_litres(targets);
        let limits = self.catalogue.limits();
        let (fill_low_share, fill_high_share) = (limits.fill_low_share, limits.fill_high_share);
        let fill_high_l = limits.fill_high_l;
        let taps = entry.kind.flags.taps;
        let some_outlets = taps && event.points_to("some_outlets");
        let one_outlet = taps && (naming::outlet(event).is_some() || some_outlets);
        for target in targets {
            let left_over = self.left_over(*target);
            // Of what was put into several drained parts each has its share by what fits in.
            let room_l = (left_over.0 - left_over.1).max(0.0);
            let in_all_l = (emptied_l + wet_l).max(0.1);
            let through = event.litres_in.map(|litres| litres / in_all_l);
            let Some(usual) = self.usual_share(*target, in_all_l) else { continue };
            let Some(slot) = self.slot(*target) else { continue };
            let outcome = outcome(slot, way);
            let (at_most, why, path_proven) = match outcome {
                Outcome::Stays(reason) => {
                    slot.attempted = true;
                    slot.event(number);
                    slot.rule(number, reason);
                    slot.ask(number, Reason::ProveBlock);
                    continue;
                }
                Outcome::Blend { at_most, why, path_proven } => (at_most, why, path_proven),
            };
            let was_emptied = was_emptied(slot);
            let mut grade = graded(entry, *target).min(at_most);
            let mut reasons = Vec::new();
            reasons.extend(why);
            if heater_in_the_way {
                reasons.push(Reason::HeaterFirst);
                grade = grade.min(Evidence::Claimed);
            }
            // A tank that was not emptied takes in what is put into it, and thins it by what stood there.
            if slot.kind.confinement == Confinement::Open && !was_emptied {
                reasons.push(Reason::NotEmptied);
                grade = grade.min(Evidence::Claimed);
            }
            if taps && is_left_out(event, slot) {
                reasons.push(Reason::PartNotNamed);
                grade = grade.min(Evidence::Claimed);
            }
            if one_outlet && slot.kind.instance_noun == "outlet" {
                reasons.push(Reason::OneOutlet);
                grade = grade.min(Evidence::Claimed);
            }
            // Lines full of water are through when the colour comes, or when enough has gone in; here neither is told.
            let seen = event.states_words("seen_coming") && !event.speaks_of("not_coming");
            let unseen = taps && !was_emptied && event.litres_in.is_none() && !seen;
            if unseen && event.point.is_none() {
                reasons.push(Reason::NoLitres);
                grade = grade.min(Evidence::Claimed);
            }
            if event.fluid.is_none() && event.label.is_none() {
                grade = grade.min(Evidence::Claimed);
            }
            if entry.kind.flags.after_emptying && !was_emptied {
                reasons.push(Reason::NotEmptied);
                grade = grade.min(Evidence::Claimed);
            }
            let on_top_of = Under::of(slot, solute);
            let stronger_below = slot.label_strongest_c.filter(|_| slot.holds == Holds::Blend);
            let (full_l, left_l) = left_over;
            let run = through.unwrap_or(usual);
            // What is put into an emptied tank mixes with what is left there, and need not fill it.
            let fills = was_emptied && slot.kind.confinement != Confinement::Open;
            let short = fills && run * full_l < fill_low_share * room_l;
            if through.is_none() && (!was_emptied || short) {
                reasons.push(Reason::FlushUntold);
                grade = grade.min(Evidence::Claimed);
            }
            slot.protect(Holds::Blend, grade, number, event.happened_at);
            slot.under = None;
            if unseen {
                slot.ask(number, Reason::HowMuch);
            }
            slot.path_proven = path_proven;
            slot.solute = solute;
            slot.label_weakest_c = product.and_then(|product| product.first_ice_weak_c);
            slot.unknown_fluid = event.fluid.is_some() && solute.is_none();
            // On top of a stronger one of the same fluid the mixture may be as strong as that.
            let strongest = [stronger_below, product.and_then(strongest_first_ice_c)];
            slot.label_strongest_c = strongest.into_iter().flatten().reduce(f64::min);
            slot.first_ice_c = slot.label_weakest_c;
            if through.is_some() && short {
                slot.evidence = slot.evidence.min(Evidence::Claimed);
                slot.note(Some(number), Say::Figures(Reason::FillShort, run * full_l, full_l));
            }
            if !was_emptied && through.is_some() && run < 1.0 {
                slot.evidence = slot.evidence.min(Evidence::Claimed);
                slot.note(Some(number), Say::Figures(Reason::LitresShort, run * wet_l, wet_l));
            }
            let water_left = water_share(run, if was_emptied { left_l / full_l } else { 1.0 });
            if let (Some(solute), Some(label_c)) = (solute, slot.label_weakest_c)
                && let Some(mixed_c) = thinned_first_ice_c(solute, label_c, water_left)
            {
                slot.first_ice_c = Some(mixed_c);
                let stayed = Say::Figures(Reason::Diluted, water_left * full_l, full_l);
                slot.note(Some(number), stayed);
            }
            let most_l = (fill_high_share * in_all_l).max(fill_high_l);
            if let Some(litres) = event.litres_in.filter(|litres| *litres > most_l) {
                slot.evidence = slot.evidence.min(Evidence::Claimed);
                slot.note(Some(number), Say::Figures(Reason::FillHigh, litres, in_all_l));
            }
            if let Some(below) = on_top_of {
                below.mixed_into(slot, number);
            }
            for reason in reasons {
                slot.rule(number, reason);
            }
            match product {
                Some(product) if !product.is_readable() => slot.rule(number, Reason::NotReadable),
                Some(product) if product.first_ice_weak_c.is_none() => {
                    slot.rule(number, Reason::CutOnSite);
                }
                None => slot.rule(number, Reason::NoLabel),
                _ => {}
            }
            note_unnamed(slot, number, *target);
            slot.ask(number, Reason::Retest);
            if let Some(question) = entry.kind.question {
                slot.ask(number, question);
            }
        }
    }

    /// Litres of all these circuits that are not drained.
    fn wet_litres(&self, targets: &[Target]) -> f64 {
        let slots = targets.iter().filter_map(|target| self.slots.get(target.slot));
        let wet = slots.filter(|slot| !was_emptied(slot));
        wet.map(|slot| self.volume_l(slot)).sum()
    }

    /// Litres that fit into all of these circuits that are drained.
    fn emptied_litres(&self, targets: &[Target]) -> f64 {
        let slots = targets.iter().filter_map(|target| self.slots.get(target.slot));
        slots.filter(|slot| was_emptied(slot)).map(|slot| self.volume_l(slot)).sum()
    }

    /// Litres that fit in, and the water that stays behind when it is drained.
    fn left_over(&self, target: Target) -> (f64, f64) {
        let Some(slot) = self.slots.get(target.slot) else { return (0.0, 0.0) };
        let full_l = self.volume_l(slot);
        let dry = slot.holds == Holds::Dry;
        (full_l, if dry { 0.0 } else { slot.kind.residue_l.min(full_l) })
    }

    /// The share of what is on the path, `in_all_l`, that counts where no litres are told: no more than anybody puts in who does it
    /// in full, however long the path.
    fn usual_share(&self, target: Target, in_all_l: f64) -> Option<f64> {
        let slot = self.slots.get(target.slot)?;
        let limits = self.catalogue.limits();
        let raw = slot.kind.groups().any(|group| group == "ENGINE_RAW");
        let (share, litres) = match () {
            () if was_emptied(slot) && raw => (limits.usual_fill_share, limits.usual_flush_l),
            () if was_emptied(slot) => (limits.usual_fill_share, limits.usual_pour_l),
            () if raw => (limits.usual_flush_share, limits.usual_flush_l),
            () => (limits.usual_pour_share, limits.usual_pour_l),
        };
        Some(share.min(litres / in_all_l))
    }

    /// Whether a water heater is fitted and neither drained nor filled with blend: it takes what goes through the taps.
    fn heater_in_the_way(&self) -> bool {
        let heater = self.catalogue.water_heater();
        self.slots.iter().any(|slot| Some(slot.place) == heater && !slot.holds.is_protected())
    }
}

/// The share of water in a part once `run` times its volume of product has gone in, of which `before` was water and the rest
/// air: what is emptied fills first, and what runs through is stirred as it goes.
fn water_share(run: f64, before: f64) -> f64 {
    if before <= 0.0 {
        return 0.0;
    }
    let room = 1.0 - before;
    if run < room { before / (run.max(0.0) + before) } else { before * (room - run).exp() }
}

/// First ice, C, of a product of which so large a share is water of the part, perfectly mixed; `None` where that makes no
/// difference worth telling or the product is outside the data of its curve.
fn thinned_first_ice_c(solute: Solute, label_c: f64, water: f64) -> Option<f64> {
    let product = MassFraction::new(solute.mass_fraction_at_c(label_c)?).ok()?;
    let strength = volume_from_mass(solute, product);
    let (own, water) = (Litres::clamped(1.0 - water), Litres::clamped(water));
    let mixed = dilute(strength, own, water, None).ok()?.mixed;
    let mixed_c = solute.first_ice_c(mass_from_volume(solute, mixed).value());
    (mixed_c - label_c >= WORTH_TELLING_K).then_some(mixed_c)
}

/// What dissolves in a product's water.
pub(super) fn solute_of(product: &Product) -> Option<Solute> {
    match product.fluid {
        ProductFluid::PropyleneGlycol => Some(Solute::PropyleneGlycol),
        ProductFluid::EthyleneGlycol => Some(Solute::EthyleneGlycol),
        ProductFluid::Ethanol => Some(Solute::Ethanol),
        ProductFluid::Methanol => Some(Solute::Methanol),
        ProductFluid::Unknown => None,
    }
}

/// First ice, C, of the strongest that a label is filled with, as far as the curve of its fluid goes.
pub(super) fn strongest_first_ice_c(product: &Product) -> Option<f64> {
    solute_of(product).map(|solute| solute.first_ice_c(product.strongest.min(STRONGEST)))
}

/// Of antifreeze through the taps whose outlets are listed: a part beside the lines that the list does not name.
fn is_left_out(event: &LayupEvent, slot: &Slot<'_>) -> bool {
    let label = slot.kind.label.to_lowercase();
    let word = label.split(' ').next().unwrap_or_default();
    let named = event.point.is_none() || event.mentions_in_point(&["all", "every", word]);
    slot.kind.instance_noun != "outlet" && !named
}

fn way(entry: &Entry<'_>) -> Way {
    let event = &*entry.event;
    let thermostat = event.thermostat_open.as_deref().unwrap_or_default().to_lowercase();
    let method = event.method.as_deref().map(in_one_word).unwrap_or_default();
    let has = |words: &[&str]| words.iter().any(|word| method.contains(word));
    if event.remark().is_some_and(|remark| remark.tells(Says::NoFlow)) {
        return Way::Cold;
    }
    if has(&["cold", "not_", "never", "no_warm", "luke", "?", "warm_water"]) {
        return Way::Cold;
    }
    if has(&["warm", "hot", "to_temp"]) {
        return match thermostat.as_str() {
            "yes" | "y" | "open" | "opened" | "true" | "x" | "removed" | "n/a" | "na" => Way::Warm,
            "no" | "n" | "shut" | "closed" => Way::Cold,
            _ => Way::WarmThermostatUnknown,
        };
    }
    if has(&["fill", "pump", "pour", "funnel"]) { Way::Filled } else { Way::Cold }
}

/// Drained, and nothing speaks for water behind: a drain that was in doubt is none to fill on.
fn was_emptied(slot: &Slot<'_>) -> bool {
    matches!(slot.holds, Holds::Drained | Holds::Dry) && !slot.closed_pocket
}

fn outcome(slot: &Slot<'_>, way: Way) -> Outcome {
    // Of two sides one is still full: what is poured in stays in the other.
    if slot.holds == Holds::Drained && slot.side_drained.is_some() && way != Way::Warm {
        return Outcome::Stays(Reason::OneSide);
    }
    let drained = was_emptied(slot);
    let recorded =
        |path_proven| Outcome::Blend { at_most: Evidence::Recorded, why: None, path_proven };
    if drained {
        return recorded(true);
    }
    let after_cold = slot.kind.after_cold_run;
    match way {
        Way::Warm => recorded(true),
        Way::WarmThermostatUnknown if after_cold == AfterColdRun::Thermostat => {
            Outcome::Stays(Reason::BlockNotProven)
        }
        Way::WarmThermostatUnknown => recorded(true),
        Way::Cold => match after_cold {
            AfterColdRun::Stays | AfterColdRun::Thermostat => Outcome::Stays(Reason::ColdRunStays),
            AfterColdRun::Claimed => Outcome::Blend {
                at_most: Evidence::Claimed,
                why: Some(Reason::ColdRunClaimed),
                path_proven: false,
            },
            AfterColdRun::Passes => recorded(false),
        },
        Way::Filled => match after_cold {
            // Without an entry that it was drained, a block may be full behind the plug: it is as it was.
            AfterColdRun::Thermostat => Outcome::Stays(Reason::BlockNotProven),
            AfterColdRun::Stays | AfterColdRun::Claimed => Outcome::Blend {
                at_most: Evidence::Claimed,
                why: Some(Reason::FillWithoutDrain),
                path_proven: false,
            },
            AfterColdRun::Passes => Outcome::Blend {
                at_most: Evidence::Recorded,
                why: Some(Reason::NotDrainedFirst),
                path_proven: false,
            },
        },
    }
}
