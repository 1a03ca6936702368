//! What follows for a boat with antifreeze in her.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::action::{Action, Content, Notification, Posting, moved};
use super::super::blend::{Filled, Notice, Word, decide_filled};
use super::super::thread::Thread;

/// So long such a word is worth reading.
const KEPT: TimeDelta = TimeDelta::days(2);

/// What follows for one boat.
pub(super) fn actions(filled: &Filled<'_>, now: DateTime<Utc>) -> Vec<Action> {
    let Some((alert, transition, word)) = decide_filled(filled, now) else { return Vec::new() };
    let mut actions = moved(&alert, transition);
    actions.extend(word.zip(filled.of.reader_of(&alert)).map(|(word, person)| {
        Action::Notify(Box::new(Notification {
            recipient: person.clone(),
            site: filled.of.site.clone(),
            posting: Posting::about(&alert, word != Word::Weak, KEPT, now),
            content: Content::Blend(Notice {
                thread: Thread::of(&alert, person),
                word,
                boat: filled.of.boat.clone(),
                past: filled.past.clone(),
            }),
        }))
    }));
    actions
}
