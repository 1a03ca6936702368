//! Kinds that say a few words to one person and follow no forecast: what is told, and how such an episode ends.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::{
    Alert, AlertId, ChanceClass, CloseReason, Closing, Condition, Heard, Kind, LastNotified,
    Ledger, Sent, Subject, System, Transition,
};
use crate::domain::boat::{BoatId, PersonId, SiteId};
use crate::domain::risk::{Consequence, Priority};
use crate::domain::season::{Hemisphere, Winter};

/// Hours of the day, local, in which such a word is decided.
const HOURS: std::ops::Range<u32> = 8..20;

/// A boat, and how far its alerts of such a kind have come.
#[derive(Debug, Clone, Copy)]
pub struct Concerned<'a> {
    /// Which boat.
    pub boat: &'a BoatId,
    /// Where it stands.
    pub site: &'a SiteId,
    /// The clock of the place.
    pub zone: Tz,
    /// When its winters come.
    pub hemisphere: Hemisphere,
    /// Who is told; `None`: the yard sees to it, or nobody is listed.
    pub reader: Option<&'a PersonId>,
    /// A freeze in sight has an alert of its own, which says more.
    pub freeze: Option<&'a AlertId>,
    /// The alert of this kind that is not closed.
    pub open: Option<&'a Alert>,
    /// The last one that is closed.
    pub closed: Option<&'a Alert>,
    /// How many are closed.
    pub episodes_closed: u32,
}

impl Concerned<'_> {
    /// Who reads a word about `alert`: whoever owns the boat by now, else whoever was told.
    pub(super) fn reader_of<'b>(&'b self, alert: &'b Alert) -> Option<&'b PersonId> {
        self.reader.or_else(|| alert.told.keys().next())
    }

    /// Has there been one in the winter that `now` belongs to?
    pub(super) fn had_one(&self, now: DateTime<Utc>) -> bool {
        let winter = |at| Winter::of((self.hemisphere, self.zone), at);
        let raised = self.closed.and_then(|closed| closed.raised_at);
        raised.is_some_and(|at| winter(at) == winter(now))
    }

    /// Is it an hour at which a word that can wait is decided?
    pub(super) fn is_day(&self, now: DateTime<Utc>) -> bool {
        HOURS.contains(&chrono::Timelike::hour(&now.with_timezone(&self.zone)))
    }

    /// The next episode, before anything is said.
    pub(super) fn candidate(&self, kind: Kind) -> Alert {
        let subject = Subject::Boat(self.boat.clone());
        Alert::candidate(kind, subject, self.site.clone(), self.episodes_closed.saturating_add(1))
    }
}

/// What is told.
pub(super) struct Plain<'a> {
    pub(super) priority: Priority,
    pub(super) chance: f64,
    pub(super) minutes: f64,
    pub(super) systems: &'a [System],
    pub(super) action: &'static str,
}

/// Tells some people: a new revision, which they share, and what they were told.
pub(super) fn tell(next: &mut Alert, people: &[PersonId], plain: &Plain<'_>, now: DateTime<Utc>) {
    let Plain { priority, chance, minutes, systems, action } = *plain;
    next.condition = Condition::Active { priority };
    next.revision = next.revision.saturating_add(1);
    let sent = Sent { at: now, revision: next.revision, step: 0 };
    let last = LastNotified {
        at: now,
        priority,
        chance,
        chance_class: ChanceClass::of(chance),
        low_c: None,
        first_danger: None,
        latest_start: None,
        minutes,
        systems: systems.to_vec(),
        action: action.to_owned(),
    };
    let worst = Heard {
        priority,
        chance,
        low_c: None,
        consequence: Consequence::Severe,
        systems: Vec::new(),
    };
    for person in people {
        let ledger = next.told.entry(person.clone()).or_insert_with(|| Ledger {
            last: last.clone(),
            worst: worst.clone(),
            sent: Vec::new(),
            awaits_closing: true,
            updates: 0,
        });
        ledger.last = last.clone();
        ledger.sent.push(sent.clone());
        ledger.awaits_closing = true;
    }
}

/// The end of an episode, by the row of the table. `told`: with a last word to everybody who was told.
pub(super) fn close(
    open: &Alert,
    (row, reason, why): (u8, CloseReason, &str),
    told: bool,
    now: DateTime<Utc>,
) -> (Alert, Transition) {
    let mut next = open.clone();
    next.condition = Condition::Normal;
    next.closed = Some(Closing { at: now, reason });
    if told {
        next.revision = open.revision.saturating_add(1);
        for ledger in next.told.values_mut() {
            ledger.awaits_closing = false;
            ledger.sent.push(Sent { at: now, revision: next.revision, step: 0 });
        }
    }
    let transition = Transition::between(row, open, &next, now, "rule", why, None);
    (next, transition)
}
