//! What follows at the beginning of a season.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::action::{Action, Content, Notification, Posting};
use super::super::opening::{Opening, name};

/// So long it is worth reading.
const KEPT: TimeDelta = TimeDelta::days(4);

pub(super) fn actions(opening: &Opening<'_>, now: DateTime<Utc>) -> Vec<Action> {
    if opening.told {
        return Vec::new();
    }
    let name = name(opening.year, opening.person);
    let notification = Notification {
        recipient: opening.person.clone(),
        site: opening.site.id.clone(),
        posting: Posting::named(name.clone(), "opening", KEPT, now),
        content: Content::Opening(opening.year),
    };
    vec![Action::Notify(Box::new(notification)), Action::Remember(name)]
}
