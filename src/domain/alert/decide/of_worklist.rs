//! What follows when the worklist is due.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::action::{Action, Content, Notification, Posting};
use super::super::worklist::{RUN, WorklistDue};
use crate::domain::boat::SiteId;

/// A worklist is of no use after the next one.
const KEPT: TimeDelta = TimeDelta::hours(20);

pub(super) fn actions(due: &WorklistDue<'_>, now: DateTime<Utc>) -> Vec<Action> {
    let letters = due.readers.iter().map(|(person, site)| {
        let about = format!("worklist:{person}:{}", due.day);
        Action::Notify(Box::new(Notification {
            recipient: person.clone(),
            // Whoever answers for no place that is listed hears of it all the same: it cannot be written, and the next contact is told.
            site: site.clone().unwrap_or_else(|| SiteId::from("")),
            posting: Posting::named(about, "worklist", KEPT, now),
            content: Content::Worklist,
        }))
    });
    letters.chain([Action::Remember(RUN.to_owned())]).collect()
}
