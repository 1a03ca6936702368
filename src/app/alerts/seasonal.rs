//! What the kinds that rest on past seasons have in common: who reads them, and the freezes that go before them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::gathering::Gathering;
use super::open_alerts::OpenAlerts;
use crate::app::assess::past_seasons::{PastArchives, PastSeasons};
use crate::app::assess::{AssessedBoat, Assessment};
use crate::domain::alert::{Alert, AlertId, Concerned, Decision, Kind};
use crate::domain::boat::{BoatId, PersonId};
use crate::domain::yard::{Person, Site, SiteKind};

/// The place of a boat and its past seasons; `None` where it is heated or none are named.
pub(crate) fn past_of<'a>(
    archives: PastArchives<'_>,
    seen: &'a Assessment,
    view: &AssessedBoat,
) -> Option<(&'a Site, Arc<PastSeasons>)> {
    let site = seen.yard.sites.get(&view.state.site);
    let site = site.filter(|site| site.kind != SiteKind::IndoorHeated)?;
    let past = archives.of(site).unwrap_or_else(|error| {
        tracing::warn!("{}: nothing is told by past seasons: {error}", site.id);
        None
    });
    Some((site, past?))
}

/// Freezes that are not closed, and who has been told of each and awaits its end.
pub(crate) struct Freezes(BTreeMap<BoatId, (AlertId, Vec<PersonId>)>);

impl Freezes {
    /// Of what stands open and what the same round has decided.
    pub(crate) fn of(open: &OpenAlerts, decided: &Decision) -> Self {
        let mut found = Self(BTreeMap::new());
        let decided = decided.alerts.iter().filter(|alert| alert.kind == Kind::Freeze);
        for alert in open.of_kind(Kind::Freeze).chain(decided) {
            found.note(alert);
        }
        found
    }

    fn note(&mut self, freeze: &Alert) {
        let Some(boat) = freeze.subject.boat() else { return };
        // One that has returned may be back tomorrow: it goes before as long as it is not closed.
        if freeze.closed.is_none() && freeze.raised_at.is_some() {
            let told = freeze.told.iter().filter(|(_, ledger)| ledger.awaits_closing);
            let told = told.map(|(person, _)| person.clone()).collect();
            self.0.insert(boat.clone(), (freeze.id.clone(), told));
        } else {
            self.0.remove(boat);
        }
    }

    /// The one that goes before a word to `reader`: it must have come to whoever reads this one, to nobody else's knowledge.
    fn before(&self, boat: &BoatId, reader: Option<&Person>) -> Option<&AlertId> {
        let (id, told) = self.0.get(boat)?;
        let knows = reader.map_or(!told.is_empty(), |person| told.contains(&person.id));
        knows.then_some(id)
    }
}

/// A boat, and how far its alerts of a kind have come.
pub(crate) fn concerned<'a>(
    gathering: &Gathering<'a>,
    (kind, view): (Kind, &'a AssessedBoat),
    reader: Option<&'a Person>,
    closed: Option<&'a Alert>,
    freezes: &'a Freezes,
) -> Concerned<'a> {
    let (boat, site) = (&view.boat.id, &view.state.site);
    Concerned {
        boat,
        site,
        zone: gathering.seen.yard.zone(site),
        hemisphere: gathering.seen.yard.hemisphere(site),
        reader: reader.map(|person| &person.id),
        freeze: freezes.before(boat, reader),
        open: gathering.open.of(kind, boat.as_str()),
        closed,
        episodes_closed: gathering.open.closed(kind, boat.as_str()),
    }
}
