//! A forecast that is older than it should be is said once to the operator and to whoever stands on our advice there.

use chrono::{DateTime, TimeDelta, Utc};

use super::action::{Action, Content, Due, Expiry, Notification, Posting};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::risk::Priority;

/// A day later the place is blind or well.
const KEPT: TimeDelta = TimeDelta::hours(12);

/// A place whose forecast grows old, for one reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgedPlace {
    /// Which.
    pub site: SiteId,
    /// When the forecast was issued.
    pub issued_at: Option<DateTime<Utc>>,
    /// When it counts as none.
    pub blind_from: Option<DateTime<Utc>>,
    /// Names of the boats about which this reader stands on our advice.
    pub boats: Vec<String>,
    /// The reader has been told of the age of this very issue.
    pub told: bool,
}

/// One reader, and the places whose forecasts grow old.
#[derive(Debug, Clone, Copy)]
pub struct Aging<'a> {
    /// Who.
    pub person: &'a PersonId,
    /// The places that concern them.
    pub places: &'a [AgedPlace],
    /// The round.
    pub at: DateTime<Utc>,
}

/// The name under which the store notes that somebody has been told of the age of an issue.
#[must_use]
pub fn name(person: &PersonId, site: &SiteId, issued_at: Option<DateTime<Utc>>) -> String {
    let stamp = issued_at.map_or(0, |at| at.timestamp());
    format!("aging:{person}:{site}:{stamp}")
}

pub(super) fn actions(aging: &Aging<'_>) -> Vec<Action> {
    let news: Vec<AgedPlace> = aging.places.iter().filter(|place| !place.told).cloned().collect();
    let Some(first) = news.first() else { return Vec::new() };
    let marks =
        news.iter().map(|place| Action::Remember(name(aging.person, &place.site, place.issued_at)));
    let marks: Vec<Action> = marks.collect();
    let about = format!("aging-{}-{}", aging.person, aging.at.timestamp());
    let notification = Notification {
        recipient: aging.person.clone(),
        site: first.site.clone(),
        posting: Posting {
            due: Due::ByDay(Priority::Low),
            expiry: Expiry::AfterDue(KEPT),
            ..Posting::named(about, "aging", KEPT, aging.at)
        },
        content: Content::Aging(news),
    };
    std::iter::once(Action::Notify(Box::new(notification))).chain(marks).collect()
}
