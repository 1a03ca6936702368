//! What follows where what we wrote did not arrive.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::super::action::{Action, Content, Notification, Posting, moved};
use super::super::unreachable::{Late, Notice, Reach, decide_reach};

/// What follows for one person.
pub(super) fn actions(reach: &Reach<'_>, now: DateTime<Utc>) -> Vec<Action> {
    let Some((alert, transition)) = decide_reach(reach, now) else { return Vec::new() };
    let mut actions = moved(&alert, transition);
    let last = reach.open.and_then(|open| open.passed_on.last()).map(|passed| passed.at);
    let missed = reach.late.last().map(|newest| (newest.clone(), subjects(reach.late, last)));
    let told = || alert.passed_on.iter().map(|passed| &passed.to).collect::<BTreeSet<_>>();
    let readers = match reach.missed {
        Some(_) => reach.contacts.iter().collect(),
        None => told().into_iter().collect::<Vec<_>>(),
    };
    let notice = Notice {
        person: reach.person.clone(),
        alert: alert.id.clone(),
        revision: alert.revision,
        pressing: alert.condition.is_high(),
        missed: missed.filter(|_| reach.missed.is_some()),
        since: alert.raised_at.unwrap_or(now),
    };
    actions.extend(readers.into_iter().map(|reader| {
        Action::Notify(Box::new(Notification {
            recipient: reader.clone(),
            site: reach.site.clone(),
            posting: Posting::of_undeliverable(std::slice::from_ref(&notice), reader, now),
            content: Content::Undeliverable(vec![notice.clone()]),
        }))
    }));
    actions
}

/// Subjects of what did not arrive after `last`, each once; without one, of everything still recent.
fn subjects(late: &[Late], last: Option<DateTime<Utc>>) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for one in late {
        let new = last.is_none_or(|last| one.since > last);
        if new && !found.contains(&one.subject) {
            found.push(one.subject.clone());
        }
    }
    found
}
