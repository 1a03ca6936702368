//! Who may answer for an alert, and what an answer may say.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use thiserror::Error;

use super::closing::{CloseReason, Closing};
use super::document::Response;
use super::{Alert, Annunciation, Flat, Kind, Transition};
use crate::domain::boat::PersonId;
use crate::domain::yard::{Person, Role};

/// A plan may not lie further ahead than this where no danger is dated.
const PLAN_MOST: TimeDelta = TimeDelta::days(7);

/// Why an answer is not taken.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum AnswerError {
    /// Nothing is open.
    #[error("{alert} stands at {state}: there is nothing to {act}")]
    Nothing {
        /// Which.
        alert: String,
        /// Its state.
        state: &'static str,
        /// `acknowledge`, `take off the shelf`.
        act: &'static str,
    },
    /// Not theirs to answer.
    #[error(
        "{person} does not answer for {alert}: the boat's owner, the people of the place or whoever was told of it may"
    )]
    NotResponsible {
        /// Who.
        person: PersonId,
        /// Which.
        alert: String,
    },
    /// The plan is over already.
    #[error("{alert}: the plan ends at {until}, which has passed; name a later time")]
    PlanPast {
        /// Which.
        alert: String,
        /// As asked.
        until: DateTime<Tz>,
    },
    /// The plan ends when the harm may be done.
    #[error(
        "{alert}: the plan has to end by {most}{why}; name an earlier time, or hand it to the yard"
    )]
    PlanTooLate {
        /// Which.
        alert: String,
        /// The latest end.
        most: DateTime<Tz>,
        /// ` (the cold may be there then)`.
        why: &'static str,
    },
}

impl Alert {
    /// Somebody responsible has seen it, with or without a plan (row 4 of the table). `None` where there is nothing to
    /// acknowledge.
    #[must_use]
    pub fn acknowledge(
        &self,
        by: PersonId,
        plan_until: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> Option<(Self, Transition)> {
        let row = match self.flat() {
            Flat::Unacknowledged => 4,
            Flat::Returned => 11,
            _ => return None,
        };
        let mut next = self.clone();
        next.response = Response::Acknowledged { by: by.clone(), at: now, plan_until };
        if row == 11 {
            next.closed = Some(Closing { at: now, reason: CloseReason::Returned });
        }
        let transition =
            Transition::between(row, self, &next, now, by.as_str(), "acknowledged", None);
        Some((next, transition))
    }

    /// May this person answer for it? The owner of the boat, the managers and technicians of the place, whoever was told;
    /// for what is no boat, the operator too.
    #[must_use]
    pub fn is_answered_by(&self, person: &Person, owner: Option<&PersonId>) -> bool {
        let runs = person.manages(&self.site) || person.works_at(&self.site);
        let operates = person.role == Role::Operator && self.kind != Kind::Freeze;
        owner == Some(&person.id)
            || runs
            || operates
            || self.told.contains_key(&person.id)
            || self.passed_on.iter().any(|passed| passed.to == person.id)
    }

    /// Somebody responsible has seen it and, if they say so, means to have it done by a time: not later than the cold.
    ///
    /// # Errors
    /// [`AnswerError`] with what would be right.
    pub fn answer(
        &self,
        by: &Person,
        owner: Option<&PersonId>,
        plan_until: Option<DateTime<Tz>>,
        now: DateTime<Utc>,
    ) -> Result<(Self, Transition), AnswerError> {
        self.must_be_answered_by(by, owner)?;
        let alert = || self.id.to_string();
        if let Some(until) = plan_until {
            if until <= now {
                return Err(AnswerError::PlanPast { alert: alert(), until });
            }
            let danger = self.decided_on.as_ref().and_then(|facts| facts.first_danger);
            let (most, why) = match danger.filter(|danger| *danger > now) {
                Some(danger) => (danger, " (the cold may be there then)"),
                None => (now + PLAN_MOST, ""),
            };
            if until > most {
                let most = most.with_timezone(&until.timezone());
                return Err(AnswerError::PlanTooLate { alert: alert(), most, why });
            }
        }
        self.acknowledge(by.id.clone(), plan_until.map(|until| until.to_utc()), now).ok_or_else(
            || AnswerError::Nothing {
                alert: alert(),
                state: self.flat().as_str(),
                act: "acknowledge",
            },
        )
    }

    /// Takes it off the shelf before its time (row 15): it speaks again.
    ///
    /// # Errors
    /// [`AnswerError`] with what would be right.
    pub fn unshelve(
        &self,
        by: &Person,
        owner: Option<&PersonId>,
        now: DateTime<Utc>,
    ) -> Result<(Self, Transition), AnswerError> {
        self.must_be_answered_by(by, owner)?;
        if self.flat() != Flat::Shelved {
            let (alert, state) = (self.id.to_string(), self.flat().as_str());
            return Err(AnswerError::Nothing { alert, state, act: "take off the shelf" });
        }
        let mut next = self.clone();
        next.annunciation = Annunciation::Enabled;
        next.response = Response::Unacknowledged;
        let why = "taken off the shelf";
        let transition = Transition::between(15, self, &next, now, by.id.as_str(), why, None);
        Ok((next, transition))
    }

    pub(super) fn must_be_answered_by(
        &self,
        person: &Person,
        owner: Option<&PersonId>,
    ) -> Result<(), AnswerError> {
        if self.is_answered_by(person, owner) {
            return Ok(());
        }
        Err(AnswerError::NotResponsible { person: person.id.clone(), alert: self.id.to_string() })
    }
}
