//! What follows from a decision, for every kind of alert: documents to keep, rows of the log, words to people, marks. The
//! shell carries all of it out in one transaction, or none of it.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Advice, Alert, AlertId, Facts, Transition, aging, blend, deadline, heat, unreachable};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::risk::Priority;

/// One thing that follows from a decision.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// The document of an alert that is new or changed, whole.
    Keep(Box<Alert>),
    /// A row for the append-only log.
    Log {
        /// The move.
        transition: Transition,
        /// The numbers that the alert was looked at with, whether or not anybody was told; `None`: those of its document.
        looked: Option<Box<Facts>>,
    },
    /// Something to tell one person.
    Notify(Box<Notification>),
    /// A name under which the store notes that it has been done, so that it is not done again.
    Remember(String),
}

/// One thing to tell one person.
#[derive(Debug, Clone, PartialEq)]
pub struct Notification {
    /// Who reads it.
    pub recipient: PersonId,
    /// The place whose clock and name it goes by.
    pub site: SiteId,
    /// How it leaves.
    pub posting: Posting,
    /// What it says.
    pub content: Content,
}

/// How a notification goes into the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Posting {
    /// The alert, or the name under which it is remembered.
    pub about: String,
    /// Revision of the alert; 1 where there is none.
    pub revision: u32,
    /// The kind, as the outbox names it.
    pub kind: &'static str,
    /// It is the end of something that was told.
    pub closing: bool,
    /// When it may leave.
    pub due: Due,
    /// Until when it is worth trying.
    pub expiry: Expiry,
    /// A short text may go beside it.
    pub text_beside: bool,
    /// When it was decided.
    pub decided_at: DateTime<Utc>,
}

/// When a notification may leave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Due {
    /// At once.
    AtOnce,
    /// Not in the reader's quiet hours, unless it is as pressing as this allows.
    ByDay(Priority),
}

/// Until when a notification is worth trying.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Expiry {
    /// So long after it was decided.
    AfterDecision(TimeDelta),
    /// So long after it may leave.
    AfterDue(TimeDelta),
}

/// What a notification says.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// Kinds `freeze` and `blind`; several where those of one round go into one letter. Times of leaving stand in each.
    Advice(Vec<Advice>),
    /// Kind `heat`.
    Heat(heat::Notice),
    /// Kind `deadline`.
    Deadline(deadline::Notice),
    /// Kind `blend`.
    Blend(blend::Notice),
    /// Kind `unreachable`: about how many people there are.
    Undeliverable(Vec<unreachable::Notice>),
    /// The season opens: its first year.
    Opening(i32),
    /// Forecasts that are older than they should be.
    Aging(Vec<aging::AgedPlace>),
    /// The day's worklist.
    Worklist,
}

impl Posting {
    /// A word about an alert that waits for the reader's day where it does not press.
    #[must_use]
    pub fn about(alert: &Alert, closing: bool, kept: TimeDelta, now: DateTime<Utc>) -> Self {
        let priority = match alert.condition {
            super::Condition::Active { priority } if !closing => priority,
            _ => Priority::Low,
        };
        Self {
            about: alert.id.to_string(),
            revision: alert.revision,
            kind: alert.kind.as_str(),
            closing,
            due: Due::ByDay(priority),
            expiry: Expiry::AfterDue(kept),
            text_beside: true,
            decided_at: now,
        }
    }

    /// How a letter with these notices leaves: what does not press waits for the morning.
    #[must_use]
    pub fn of_undeliverable(
        notices: &[unreachable::Notice],
        reader: &PersonId,
        now: DateTime<Utc>,
    ) -> Posting {
        let (about, revision) = match notices {
            [one] => (one.alert.to_string(), one.revision),
            _ => (unreachable::round_name(reader, now), 1),
        };
        let pressing = notices.iter().any(|notice| notice.pressing);
        Posting {
            about,
            revision,
            kind: super::Kind::Unreachable.as_str(),
            closing: notices.iter().all(|notice| notice.missed.is_none()),
            due: if pressing { Due::AtOnce } else { Due::ByDay(Priority::Medium) },
            expiry: Expiry::AfterDecision(UNDELIVERABLE_KEPT),
            text_beside: false,
            decided_at: now,
        }
    }

    /// A letter that belongs to no alert, remembered under a name.
    #[must_use]
    pub fn named(about: String, kind: &'static str, kept: TimeDelta, now: DateTime<Utc>) -> Self {
        Self {
            about,
            revision: 1,
            kind,
            closing: false,
            due: Due::AtOnce,
            expiry: Expiry::AfterDecision(kept),
            text_beside: false,
            decided_at: now,
        }
    }
}

/// So long a next contact needs to hear of what did not arrive.
const UNDELIVERABLE_KEPT: TimeDelta = TimeDelta::days(4);

/// Everything that a round has decided, sorted: what goes into one transaction.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decision {
    /// Documents that are new or changed, whole.
    pub alerts: Vec<Alert>,
    /// Rows for the append-only log.
    pub transitions: Vec<Transition>,
    /// The numbers that alerts with a transition were looked at with.
    pub looked: Vec<(AlertId, Facts)>,
    /// What to tell to whom, in the order in which it was decided.
    pub notifications: Vec<Notification>,
    /// Names under which the store notes that something has been done.
    pub remember: Vec<String>,
}

impl Extend<Action> for Decision {
    fn extend<T: IntoIterator<Item = Action>>(&mut self, actions: T) {
        for action in actions {
            match action {
                Action::Keep(alert) => self.alerts.push(*alert),
                Action::Log { transition, looked } => {
                    self.looked.extend(looked.map(|facts| (transition.alert.clone(), *facts)));
                    self.transitions.push(transition);
                }
                Action::Notify(notification) => self.notifications.push(*notification),
                Action::Remember(name) => self.remember.push(name),
            }
        }
    }
}

impl FromIterator<Action> for Decision {
    fn from_iter<T: IntoIterator<Item = Action>>(actions: T) -> Self {
        let mut decision = Self::default();
        decision.extend(actions);
        decision
    }
}

/// The actions of an alert that has moved once: its document and the row of its log.
pub(super) fn moved(alert: &Alert, transition: Transition) -> Vec<Action> {
    vec![Action::Keep(Box::new(alert.clone())), Action::Log { transition, looked: None }]
}

/// A message about a danger is of no use longer than this after the danger began.
const STALE_AFTER_DANGER: TimeDelta = TimeDelta::hours(6);
/// The least and the most that advice is kept trying.
const KEEP_LEAST: TimeDelta = TimeDelta::hours(12);
const KEEP_MOST: TimeDelta = TimeDelta::days(4);

impl Notification {
    /// One piece of advice to its reader.
    #[must_use]
    pub fn of_advice(advice: Advice) -> Self {
        Self {
            recipient: advice.recipient.clone(),
            site: advice.site.clone(),
            posting: Posting {
                about: advice.alert.to_string(),
                revision: advice.revision,
                kind: advice.kind.as_str(),
                closing: advice.closes(),
                // By what stands in the advice itself.
                due: Due::AtOnce,
                expiry: Expiry::AfterDue(KEEP_MOST),
                text_beside: true,
                decided_at: advice.facts.at,
            },
            content: Content::Advice(vec![advice]),
        }
    }

    /// The advice in it; none for other kinds.
    #[must_use]
    pub fn advice(&self) -> &[Advice] {
        match &self.content {
            Content::Advice(advice) => advice,
            _ => &[],
        }
    }
}

/// When a letter with this advice may leave, by quiet hours: one pressing boat among several is reason enough not to wait.
#[must_use]
pub fn free_at(advice: &[Advice], now: DateTime<Utc>) -> DateTime<Utc> {
    let all_wait = advice.iter().all(|one| one.not_before.is_some());
    let first = advice.iter().filter_map(|one| one.not_before).min();
    if all_wait { first.unwrap_or(now).max(now) } else { now }
}

/// Until when a letter with this advice, which may leave at `due`, is worth trying.
#[must_use]
pub fn expires_at(advice: &[Advice], due: DateTime<Utc>, now: DateTime<Utc>) -> DateTime<Utc> {
    if advice.iter().any(Advice::closes) {
        return now + KEEP_MOST;
    }
    let danger = advice.iter().filter_map(|one| one.facts.first_danger).max();
    let expires = danger.map_or(now + KEEP_MOST, |danger| danger + STALE_AFTER_DANGER);
    expires.clamp(due + KEEP_LEAST, due + KEEP_MOST)
}
