//! What follows for a boat in autumn.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::action::{Action, Content, Notification, Posting, moved};
use super::super::deadline::{Autumn, Notice, Word, decide_autumn};
use super::super::thread::Thread;

/// So long a nudge is worth reading.
const KEPT: TimeDelta = TimeDelta::days(2);

/// What follows for one boat.
pub(super) fn actions(autumn: &Autumn<'_>, now: DateTime<Utc>) -> Vec<Action> {
    let Some((alert, transition, word)) = decide_autumn(autumn, now) else { return Vec::new() };
    let mut actions = moved(&alert, transition);
    actions.extend(word.zip(autumn.of.reader_of(&alert)).map(|(word, person)| {
        Action::Notify(Box::new(Notification {
            recipient: person.clone(),
            site: autumn.of.site.clone(),
            posting: Posting::about(&alert, word == Word::Done, KEPT, now),
            content: Content::Deadline(Notice {
                thread: Thread::of(&alert, person),
                word,
                boat: autumn.of.boat.clone(),
                wet: autumn.wet.to_vec(),
                last_day: autumn.last_day,
                tolerance: autumn.tolerance,
                half_day: autumn.half_day,
                seasons: autumn.seasons,
                minutes: autumn.minutes,
            }),
        }))
    }));
    actions
}
