//! What follows for the heat of a place.

use chrono::{DateTime, TimeDelta, Utc};

use super::super::action::{Action, Content, Notification, Posting, moved};
use super::super::heat::{HeatedPlace, Notice, Word, decide_heat};
use super::super::{Alert, thread::Thread};

/// So long a word about the heat is worth reading.
const KEPT: TimeDelta = TimeDelta::days(2);

/// What follows for one heated place.
pub(super) fn actions(place: &HeatedPlace<'_>, now: DateTime<Utc>) -> Vec<Action> {
    let Some((alert, transition, word)) = decide_heat(place, now) else { return Vec::new() };
    let silent = |open: &Alert| open.told.values().any(|of| of.last.action == "heat_silent");
    let was_silent = place.open.is_some_and(silent);
    let mut actions = moved(&alert, transition);
    let readers = word.iter().flat_map(|(word, people)| people.iter().map(move |to| (*word, to)));
    actions.extend(readers.map(|(word, person)| {
        let thread = Thread::of(&alert, person);
        Action::Notify(Box::new(Notification {
            recipient: person.clone(),
            site: place.site.clone(),
            posting: Posting::about(&alert, word != Word::Trouble, KEPT, now),
            content: Content::Heat(Notice { thread, word, trouble: place.trouble, was_silent }),
        }))
    }));
    actions
}
