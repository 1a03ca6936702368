//! Which circuits and instances an entry reaches.

use std::sync::Arc;

use super::folding::Folding;
use super::log::Entry;
use super::naming::{self, Naming};
use super::slot::{Say, Slot};
use crate::domain::catalogue::{CircuitSet, EffectKind, EventClass, Reason};

/// One slot that an entry reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Target {
    /// Its place in the list of slots.
    pub(super) slot: usize,
    /// There are several, and the entry does not say which.
    pub(super) unnamed: bool,
}

impl Folding<'_> {
    /// The slots that `entry` reaches; an instance that is named for the first time gets its own slot.
    pub(super) fn targets(
        &mut self,
        number: usize,
        entry: &Entry<'_>,
        open_water: bool,
    ) -> Vec<Target> {
        let reach = self.reach(number, entry, open_water);
        let mut targets = Vec::new();
        if reach.is_empty() {
            return targets;
        }
        let mut next = 0;
        while let Some(slot) = self.slots.get(next) {
            let place = slot.place;
            let length =
                self.slots.iter().skip(next).take_while(|slot| slot.place == place).count();
            let end = if reach.contains(place) {
                self.choose(entry, number, next, next + length, &mut targets)
            } else {
                next + length
            };
            next = end;
        }
        targets
    }

    fn reach(&mut self, number: usize, entry: &Entry<'_>, open_water: bool) -> CircuitSet {
        let kind = entry.kind;
        let mut listed = CircuitSet::EMPTY;
        for id in &entry.event.circuits {
            let Some(name) = self.catalogue.named(id) else { continue };
            listed = listed.union(name.set);
            if name.place.is_some_and(|place| !self.slots.iter().any(|slot| slot.place == place)) {
                self.order.ask(number, Reason::NotFitted, id.as_str());
            }
        }
        // What such an entry cannot show stays as it was, and is asked about.
        let beyond = kind.may_reach.map_or(CircuitSet::EMPTY, |may| listed.without(may));
        for slot in self.slots.iter_mut().filter(|slot| beyond.contains(slot.place)) {
            slot.event(number);
            slot.rule(number, Reason::NotByThis);
            slot.ask(number, Reason::WhatWasDone);
        }
        let may = kind.may_reach.unwrap_or(CircuitSet::ALL);
        let mut reach = if entry.event.circuits.is_empty() {
            let all = kind.default_circuits.without(CircuitSet::ALL.without(may));
            let all = all.without(self.not_by_plug(kind));
            self.named_by_point(entry).filter(|named| named.without(all).is_empty()).unwrap_or(all)
        } else {
            listed.without(beyond)
        };
        let default = kind.default_circuits;
        if entry.event.circuits.is_empty()
            && !default.is_empty()
            && !self.slots.iter().any(|slot| default.contains(slot.place))
        {
            self.order.ask(number, Reason::NoPart, &kind.label);
        }
        reach = reach.union(kind.always_reaches);
        let generator = entry.event.mentions(&["generator", "genset"])
            || entry
                .event
                .instance
                .as_deref()
                .is_some_and(|name| name.to_lowercase().contains("gen"));
        if kind.reaches_run_path && generator {
            let raw = self.slots.iter().filter(|slot| slot.kind.id.as_str() == "gen_raw");
            raw.for_each(|slot| reach.insert(slot.place));
        }
        if kind.reaches_run_path {
            for slot in &self.slots {
                if slot.kind.is_wetted_by_run(self.fitting.cooling, open_water) {
                    reach.insert(slot.place);
                }
            }
        }
        let follows_loop =
            matches!(kind.effect, EffectKind::Lose | EffectKind::LoopReading | EffectKind::Drain);
        if follows_loop
            && !self.fitting.cooling.block_is_raw()
            && let Some((engine, coil)) = self.catalogue.loop_and_coil()
            && reach.contains(engine)
        {
            reach.insert(coil);
        }
        reach
    }

    /// Where a row lists no circuits and its point is the name of one, that one is meant: `holding tank`.
    fn named_by_point(&self, entry: &Entry<'_>) -> Option<CircuitSet> {
        let point = entry.event.point.as_deref()?;
        let found = self.catalogue.circuits_worded(point)?;
        let sets = found.iter().filter_map(|id| self.catalogue.group(id));
        Some(sets.fold(CircuitSet::EMPTY, CircuitSet::union)).filter(|set| !set.is_empty())
    }

    /// Chooses among the slots `from..to` of one circuit; returns where they end, as one may have been added.
    fn choose(
        &mut self,
        entry: &Entry<'_>,
        number: usize,
        from: usize,
        to: usize,
        targets: &mut Vec<Target>,
    ) -> usize {
        let event = &*entry.event;
        let Some(first) = self.slots.get(from) else { return to };
        let noun = first.kind.instance_noun.as_str();
        let has_names = to - from > 1 || first.instance.is_some();
        // On a boat with one engine any name means that one; "port" is a side of it.
        let look = noun != "engine" || has_names;
        let naming = if look { naming::named(event, noun) } else { Naming::Nobody };
        let names = match naming {
            Naming::These(names) => names,
            Naming::Nobody | Naming::All => {
                let protecting = entry.kind.class == EventClass::Protecting;
                let unnamed =
                    naming == Naming::Nobody && protecting && to - from > 1 && noun != "outlet";
                targets.extend((from..to).map(|slot| Target { slot, unnamed }));
                return to;
            }
        };
        self.choose_named(&names, number, entry, from, to, targets)
    }

    fn choose_named(
        &mut self,
        names: &[String],
        number: usize,
        entry: &Entry<'_>,
        from: usize,
        mut to: usize,
        targets: &mut Vec<Target>,
    ) -> usize {
        // The column may name an instance of another circuit of the list; then all of this one are meant.
        let foreign = entry.event.instance.is_some()
            && self.boat.instances.iter().any(|(_, name)| names.contains(name))
            && !self.slots.iter().take(to).skip(from).any(|slot| slot.has_a_name_of(names));
        if foreign {
            targets.extend((from..to).map(|slot| Target { slot, unnamed: false }));
            return to;
        }
        for name in names {
            let known = (from..to)
                .find(|place| self.slots.get(*place).is_some_and(|slot| slot.is_called(name)));
            // What undoes by a name that none of them has may have undone any.
            let has_rest = (from..to).any(|place| {
                self.slots.get(place).is_some_and(|slot| slot.rest || slot.instance.is_none())
            });
            if known.is_none() && entry.kind.class == EventClass::Undoing {
                targets.extend((from..to).map(|slot| Target { slot, unnamed: false }));
                continue;
            }
            // What protects is not taken for one more of them, nor for any of those that there are.
            if known.is_none() && !has_rest && entry.kind.class == EventClass::Protecting {
                self.order.ask(number, Reason::NotFitted, name);
                continue;
            }
            let slot = known.unwrap_or_else(|| {
                to += 1;
                self.split(from, to - 1, name)
            });
            targets.push(Target { slot, unnamed: false });
        }
        let chosen: Arc<str> = Arc::from(names.join(" and "));
        if entry.kind.class == EventClass::Protecting {
            for (place, slot) in self.slots.iter_mut().enumerate().take(to).skip(from) {
                if !targets.iter().any(|target| target.slot == place) && !slot.holds.is_protected()
                {
                    slot.note(Some(number), Say::Named(Reason::NotNamed, Arc::clone(&chosen)));
                    slot.ask(number, Reason::Others);
                }
            }
        }
        to
    }

    /// Gives an instance its own slot, as the ones that nobody has named stand; returns its place.
    pub(super) fn split(&mut self, from: usize, to: usize, name: &str) -> usize {
        let rest = (from..to).find(|place| {
            self.slots.get(*place).is_some_and(|slot| slot.rest || slot.instance.is_none())
        });
        // Where all have names already, one more is taken to stand as the first of them does, and goes last.
        let Some(model) = self.slots.get(rest.unwrap_or(from)) else { return from };
        let mut named = model.clone();
        named.instance = Some(Arc::from(name));
        named.rest = false;
        let rest = rest.unwrap_or(to);
        if let Some(slot) = self.slots.get_mut(rest)
            && slot.place == named.place
            && slot.instance.is_none()
        {
            slot.rest = true;
            let noun = slot.kind.instance_noun.as_str();
            slot.instance = Some(match noun {
                "" => Arc::from("others"),
                noun => Arc::from(format!("other {noun}s")),
            });
        }
        self.slots.insert(rest, named);
        rest
    }
}

impl Slot<'_> {
    fn is_called(&self, name: &str) -> bool {
        self.instance.as_deref().is_some_and(|known| {
            known == name || known.strip_prefix(name).is_some_and(|rest| rest.starts_with(' '))
        })
    }

    fn has_a_name_of(&self, names: &[String]) -> bool {
        names.iter().any(|name| self.is_called(name))
    }
}
