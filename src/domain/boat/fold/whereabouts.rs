//! Where the boat is, whether it floats, and what hangs on power there.

use chrono::{DateTime, Utc};

use super::log::Entry;
use crate::domain::boat::{Boat, Mitigation, PlaceFacts, Places, SiteId};
use crate::domain::catalogue::PlaceEffect;

struct Switch<'a> {
    /// The place; `None` for what is aboard the boat itself.
    site: Option<&'a SiteId>,
    kind: &'a str,
    on: bool,
    entry: usize,
}

/// Where the boat is while its log is being folded.
pub(super) struct Whereabouts<'a> {
    pub(super) site: SiteId,
    pub(super) facts: Option<PlaceFacts>,
    pub(super) afloat: bool,
    pub(super) covered: bool,
    pub(super) hauled: Option<usize>,
    /// When it was last lifted out of the water.
    pub(super) lifted_at: Option<DateTime<Utc>>,
    switches: Vec<Switch<'a>>,
}

const POWER: &str = "power";

impl<'a> Whereabouts<'a> {
    /// Before the first entry: where the list says, afloat if that is a berth or the haul-out is still to come.
    pub(super) fn start(boat: &Boat, places: &(impl Places + ?Sized), before_haul: bool) -> Self {
        let facts = places.place(&boat.site);
        Self {
            site: boat.site.clone(),
            facts,
            afloat: before_haul || facts.is_some_and(|facts| facts.afloat),
            covered: false,
            hauled: None,
            lifted_at: None,
            switches: Vec::new(),
        }
    }

    /// Takes what the entry says of the place.
    pub(super) fn take(
        &mut self,
        number: usize,
        entry: &'a Entry<'_>,
        places: &(impl Places + ?Sized),
    ) {
        let event = &*entry.event;
        if event.boat.is_some() {
            // An entry about the boat that names a place says that the boat was there.
            if let Some(site) = event.site.as_ref().filter(|site| **site != self.site) {
                self.site = site.clone();
                self.facts = places.place(site);
                self.switches.retain(|switch| switch.site.is_some());
                if entry.kind.place.is_none_or(|place| place == PlaceEffect::Moved) {
                    self.afloat = self.facts.is_some_and(|facts| facts.afloat);
                }
            }
            match entry.kind.place {
                Some(PlaceEffect::Ashore) => {
                    if self.afloat {
                        self.lifted_at = Some(event.happened_at);
                    }
                    self.afloat = false;
                    self.hauled = Some(number);
                    self.switches.retain(|switch| switch.site.is_some());
                }
                Some(PlaceEffect::Afloat) => {
                    self.afloat = true;
                    self.covered = false;
                }
                Some(PlaceEffect::Covered) => self.covered = true,
                Some(PlaceEffect::Uncovered) => self.covered = false,
                Some(PlaceEffect::Moved) | None => {}
            }
        }
        if let Some((kind, on)) = &entry.kind.mitigation {
            let site = if event.boat.is_some() { None } else { event.site.as_ref() };
            self.switches.retain(|switch| !(switch.kind == kind && switch.site == site));
            self.switches.push(Switch { site, kind, on: *on, entry: number });
        }
    }

    /// What hangs on power where the boat is now: its own switches and the place's.
    pub(super) fn mitigations(&self, entries: &[Entry<'_>]) -> Vec<Mitigation> {
        let here = |switch: &&Switch<'_>| switch.site.is_none_or(|site| *site == self.site);
        let power = self.switches.iter().filter(here).rfind(|switch| switch.kind == POWER);
        let mut mitigations: Vec<Mitigation> = Vec::new();
        for switch in self.switches.iter().filter(here).filter(|switch| switch.kind != POWER) {
            // The later of the two says since when: a heater that is on is off while the power is away.
            let decisive = match power {
                Some(power) if switch.on && power.entry > switch.entry => power,
                _ => switch,
            };
            let powered = power.is_none_or(|power| power.on || power.entry < switch.entry);
            if let Some(entry) = entries.get(decisive.entry) {
                mitigations.push(Mitigation {
                    kind: switch.kind.to_owned(),
                    on: switch.on && powered,
                    since: entry.event.happened_at,
                    event: entry.event.id.clone(),
                });
            }
        }
        mitigations.sort_by(|a, b| (&a.kind, a.since).cmp(&(&b.kind, b.since)));
        mitigations
    }
}
