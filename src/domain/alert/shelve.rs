//! Putting an alert aside: by a person, with a reason, never without an end (ISA-18.2 shelving).
//!
//! The condition is followed on the shelf: what becomes worse than was told takes it off, and so does its time.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use thiserror::Error;

use super::{Alert, Annunciation, AnswerError, Condition, Flat, Transition};
use crate::domain::boat::PersonId;
use crate::domain::risk::Priority;
use crate::domain::units::is_hidden;
use crate::domain::yard::{Person, Role};

/// The longest shelf time by priority, after the shelving limits of our alert catalogue.
const LOW_MOST: TimeDelta = TimeDelta::days(7);
const MEDIUM_MOST: TimeDelta = TimeDelta::hours(24);
const HIGH_MOST: TimeDelta = TimeDelta::hours(2);

/// Letters of a reason.
const REASON_LETTERS: usize = 200;

/// Why an alert cannot be put aside.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum ShelveError {
    /// Only an open alert that speaks can be put aside.
    #[error("{alert} is {state}, so there is nothing to put aside")]
    NotOpen {
        /// Which.
        alert: String,
        /// Its state.
        state: &'static str,
    },
    /// No reason was given.
    #[error("putting {alert} aside needs a reason: say why, for whoever reads the log")]
    NoReason {
        /// Which.
        alert: String,
    },
    /// The end lies in the past.
    #[error("{alert}: the end {until} has passed; name a later time")]
    Past {
        /// Which.
        alert: String,
        /// As asked.
        until: DateTime<Tz>,
    },
    /// Longer than its priority allows, or past the time when it must be begun.
    #[error("{alert} may be put aside until {most} at the latest{why}; name an earlier time")]
    TooLong {
        /// Which.
        alert: String,
        /// The latest end.
        most: DateTime<Tz>,
        /// Where it is not the priority: ` (it must be begun soon after)`.
        why: &'static str,
    },
    /// Not theirs to put aside.
    #[error(transparent)]
    NotResponsible(#[from] AnswerError),
    /// The reason has marks that nobody can see.
    #[error(
        "the reason for {alert} has a character that cannot be seen (U+{mark:04X}): type it anew"
    )]
    HiddenMark {
        /// Which.
        alert: String,
        /// The mark.
        mark: u32,
    },
    /// What presses most only the yard may put aside.
    #[error("{alert} is of high priority: only the manager of the place can put it aside")]
    NotTheYard {
        /// Which.
        alert: String,
    },
}

impl Alert {
    /// Puts the alert aside until `until` (row 14): low up to 7 days, medium up to 24 hours, high up to 2 hours and only
    /// by a manager; never past the latest start minus twice the work. One line of reason is kept. `owner` is the boat's.
    ///
    /// # Errors
    /// [`ShelveError`] with what would be right.
    pub fn shelve(
        &self,
        (by, owner): (&Person, Option<&PersonId>),
        until: DateTime<Tz>,
        reason: &str,
        now: DateTime<Utc>,
    ) -> Result<(Self, Transition), ShelveError> {
        let alert = || self.id.to_string();
        let flat = self.flat();
        let Condition::Active { priority } = self.condition else {
            return Err(ShelveError::NotOpen { alert: alert(), state: flat.as_str() });
        };
        if !matches!(flat, Flat::Unacknowledged | Flat::Acknowledged) {
            return Err(ShelveError::NotOpen { alert: alert(), state: flat.as_str() });
        }
        self.must_be_answered_by(by, owner)?;
        if let Some(mark) = reason.chars().find(|letter| is_hidden(*letter)) {
            return Err(ShelveError::HiddenMark { alert: alert(), mark: u32::from(mark) });
        }
        let reason: String = reason.split_whitespace().collect::<Vec<_>>().join(" ");
        let reason: String = reason.chars().take(REASON_LETTERS).collect();
        if reason.is_empty() {
            return Err(ShelveError::NoReason { alert: alert() });
        }
        if until <= now {
            return Err(ShelveError::Past { alert: alert(), until });
        }
        if priority == Priority::High && by.role != Role::Manager {
            return Err(ShelveError::NotTheYard { alert: alert() });
        }
        let by_priority = now
            + match priority {
                Priority::High => HIGH_MOST,
                Priority::Medium => MEDIUM_MOST,
                Priority::Low | Priority::Notice => LOW_MOST,
            };
        let by_work = self.decided_on.as_ref().and_then(|facts| {
            let work =
                std::time::Duration::try_from_secs_f64(facts.minutes.max(0.0) * 120.0).ok()?;
            Some(facts.latest_start? - TimeDelta::from_std(work).ok()?)
        });
        let (most, why) = match by_work {
            Some(start) if start < by_priority => (start, " (it must be begun soon after)"),
            _ => (by_priority, ""),
        };
        if until > most {
            let most = most.with_timezone(&until.timezone());
            return Err(ShelveError::TooLong { alert: alert(), most, why });
        }
        let mut next = self.clone();
        next.annunciation = Annunciation::Shelved {
            until: until.to_utc(),
            by: by.id.clone(),
            reason: reason.clone(),
        };
        let transition = Transition::between(14, self, &next, now, by.id.as_str(), &reason, None);
        Ok((next, transition))
    }
}
