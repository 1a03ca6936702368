//! The worklist goes to each manager when its time has come.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::action::{Action, Content, Notification, Posting};
use crate::domain::boat::{PersonId, SiteId};

/// A worklist is of no use after the next one.
const KEPT: TimeDelta = TimeDelta::hours(20);
/// The name under which the store notes when the last one went out.
pub const RUN: &str = "worklist";

/// The readers of the worklist.
#[derive(Debug, Clone, Copy)]
pub struct WorklistDue<'a> {
    /// Each with the first place that they answer for, `None` where none is listed.
    pub readers: &'a [(PersonId, Option<SiteId>)],
    /// The day that it is for, by the clock of the yard.
    pub day: NaiveDate,
}

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
