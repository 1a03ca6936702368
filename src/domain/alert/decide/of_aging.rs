//! What follows for a reader of forecasts that grow old.

use chrono::TimeDelta;

use super::super::action::{Action, Content, Due, Expiry, Notification, Posting};
use super::super::aging::{AgedPlace, Aging, name};
use crate::domain::risk::Priority;

/// A day later the place is blind or well.
const KEPT: TimeDelta = TimeDelta::hours(12);

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
