//! Where the boat is, whether it floats, and what hangs on power there.

use chrono::{DateTime, Utc};

use super::log::Entry;
use crate::domain::boat::stay::REMEMBERED;
use crate::domain::boat::{Boat, Mitigation, PlaceFacts, Places, SiteId, Stay};
use crate::domain::catalogue::PlaceEffect;

struct Switch<'a> {
    /// The place; `None` for what is aboard the boat itself.
    site: Option<&'a SiteId>,
    kind: &'a str,
    on: bool,
    entry: usize,
    since: DateTime<Utc>,
}

impl Switch<'_> {
    /// Of a switch and that of the power behind it: is it on, and which of the two says since when? A heater that is on is off
    /// while the power is away.
    fn with<'s>(&'s self, power: Option<&'s Self>) -> (bool, &'s Self) {
        let decisive = match power {
            Some(power) if self.on && power.entry > self.entry => power,
            _ => self,
        };
        let powered = power.is_none_or(|power| power.on || power.entry < self.entry);
        (self.on && powered, decisive)
    }
}

/// Where the boat is while its log is being folded.
pub(super) struct Whereabouts<'a> {
    pub(super) site: SiteId,
    pub(super) facts: Option<PlaceFacts>,
    pub(super) afloat: bool,
    pub(super) covered: bool,
    pub(super) hauled: Option<usize>,
    /// Where and how it was before, oldest first.
    earlier: Vec<Stay>,
    switches: Vec<Switch<'a>>,
}

pub(super) const POWER: &str = "power";
pub(super) const HEAT: &str = "heat";

impl<'a> Whereabouts<'a> {
    /// Before the first entry: where the list says, afloat if that is a berth or the haul-out is still to come; on land once it was
    /// planned for before now.
    pub(super) fn start(
        boat: &Boat,
        places: &(impl Places + ?Sized),
        (before_haul, hauled): (bool, bool),
    ) -> Self {
        let facts = places.place(&boat.site);
        Self {
            site: boat.site.clone(),
            facts,
            afloat: before_haul || !hauled && facts.is_some_and(|facts| facts.afloat),
            covered: false,
            hauled: None,
            earlier: Vec::new(),
            switches: Vec::new(),
        }
    }

    /// Ashore now, and in the water until its haul, which is only planned.
    pub(super) fn afloat_until(mut self, haul: Option<DateTime<Utc>>) -> Self {
        if let Some(until) = haul.filter(|_| !self.afloat) {
            self.earlier.push(Stay { until, afloat: true, ..self.stay_until(until) });
        }
        self
    }

    const fn how(&self) -> (bool, bool) {
        (self.afloat, self.covered)
    }

    fn stay_until(&self, until: DateTime<Utc>) -> Stay {
        Stay { until, site: self.site.clone(), afloat: self.afloat, covered: self.covered }
    }

    /// The stays that something may still remember at `at`.
    pub(super) fn earlier_than(&self, at: DateTime<Utc>) -> Vec<Stay> {
        self.earlier.iter().filter(|stay| at - stay.until < REMEMBERED).cloned().collect()
    }

    /// Takes what the entry says of the place.
    pub(super) fn take(
        &mut self,
        number: usize,
        entry: &'a Entry<'_>,
        places: &(impl Places + ?Sized),
    ) {
        let event = &*entry.event;
        let before = self.stay_until(event.happened_at);
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
            let since = event.happened_at;
            self.switches.push(Switch { site, kind, on: *on, entry: number, since });
        }
        self.remember(before);
    }

    /// Keeps the stay that an entry has ended; one that had just begun is none.
    fn remember(&mut self, before: Stay) {
        let same = before.site == self.site && (before.afloat, before.covered) == self.how();
        if same {
            return;
        }
        // An entry without an hour may stand after one that is taken later: then it was before that.
        let until = before.until;
        self.earlier
            .iter_mut()
            .filter(|stay| stay.until > until)
            .for_each(|stay| stay.until = until);
        if self.earlier.last().is_none_or(|last| last.until < until) {
            self.earlier.push(before);
        }
    }

    fn here(&self) -> impl DoubleEndedIterator<Item = &Switch<'a>> {
        self.switches.iter().filter(|switch| switch.site.is_none_or(|site| *site == self.site))
    }

    /// What hangs on power where the boat is now: its own switches and the place's.
    pub(super) fn mitigations(&self, entries: &[Entry<'_>]) -> Vec<Mitigation> {
        let power = self.here().rfind(|switch| switch.kind == POWER);
        let mut mitigations: Vec<Mitigation> = Vec::new();
        for switch in self.here().filter(|switch| switch.kind != POWER) {
            let (on, decisive) = switch.with(power);
            if let Some(entry) = entries.get(decisive.entry) {
                mitigations.push(Mitigation {
                    kind: switch.kind.to_owned(),
                    on,
                    since: decisive.since,
                    event: entry.event.id.clone(),
                });
            }
        }
        mitigations.sort_by(|a, b| (&a.kind, a.since).cmp(&(&b.kind, b.since)));
        mitigations
    }
}
