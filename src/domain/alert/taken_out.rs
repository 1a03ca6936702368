//! Taking an alert out of service until it is looked at again, putting it back, and taking back one that was issued in error: by
//! whoever runs the place (ISA-18.2), and told to everybody who counts on it by the next look.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use thiserror::Error;

use super::{Alert, Annunciation, Condition, Flat, Kind, Response, Transition};
use crate::domain::units::is_hidden;
use crate::domain::yard::Person;

/// Nothing is left unlooked at for longer.
const MOST: TimeDelta = TimeDelta::days(90);
/// Letters of a reason.
const REASON_LETTERS: usize = 200;

/// Why an alert cannot be taken out, put back or taken back.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum TakeOutError {
    /// Only alerts about a boat's freeze are followed on and on.
    #[error(
        "{alert} is no alert about a freeze: acknowledge it, or put it aside with `alerts shelve`"
    )]
    NotAFreeze {
        /// Which.
        alert: String,
    },
    /// It is over, or stands so already.
    #[error("{alert} is {state}: nothing is to be changed")]
    Standing {
        /// Which.
        alert: String,
        /// Its state.
        state: &'static str,
    },
    /// Only the yard may.
    #[error("{person} does not run {site}: only its manager, or the operator, can do this")]
    NotTheYard {
        /// Who.
        person: String,
        /// Where.
        site: String,
    },
    /// No reason was given.
    #[error("{alert}: say why, for whoever reads the log and the letter")]
    NoReason {
        /// Which.
        alert: String,
    },
    /// Taken out a moment ago: whoever counts on it has not heard so yet.
    #[error(
        "{alert}: whoever counts on it has not heard yet that it is out of service: put it back after the next round"
    )]
    NotYetTold {
        /// Which.
        alert: String,
    },
    /// A review that lies in the past or too far off.
    #[error("{alert}: the review must lie ahead, and by {most} at the latest")]
    Review {
        /// Which.
        alert: String,
        /// The latest day.
        most: DateTime<Tz>,
    },
}

impl Alert {
    /// Takes the alert out of service until `review_on` (row 19); then it is followed again by itself. Whoever counts on it hears
    /// of it with the next look.
    ///
    /// # Errors
    /// [`TakeOutError`] with what would be right.
    pub fn take_out(
        &self,
        by: &Person,
        review_on: DateTime<Tz>,
        reason: &str,
        now: DateTime<Utc>,
    ) -> Result<(Self, Transition), TakeOutError> {
        let reason = self.may(by, reason)?;
        if self.flat() == Flat::OutOfService || self.cancel.is_some() {
            return Err(self.stands_so());
        }
        if review_on <= now || review_on > now + MOST {
            let most = (now + MOST).with_timezone(&review_on.timezone());
            return Err(TakeOutError::Review { alert: self.id.to_string(), most });
        }
        let mut next = self.clone();
        next.annunciation = Annunciation::OutOfService {
            by: by.id.clone(),
            review_on: review_on.to_utc(),
            reason: reason.clone(),
        };
        let transition = Transition::between(19, self, &next, now, by.id.as_str(), &reason, None);
        Ok((next, transition))
    }

    /// Puts it back (row 20): judged anew from the next look on.
    ///
    /// # Errors
    /// [`TakeOutError`]: it is not out of service, or not theirs to put back.
    pub fn put_back(
        &self,
        by: &Person,
        now: DateTime<Utc>,
    ) -> Result<(Self, Transition), TakeOutError> {
        self.may(by, "back in service")?;
        if self.flat() != Flat::OutOfService {
            return Err(self.stands_so());
        }
        if self.told.values().any(|ledger| ledger.awaits_closing) {
            return Err(TakeOutError::NotYetTold { alert: self.id.to_string() });
        }
        let next = self.back_in_service();
        let why = "back in service";
        let transition = Transition::between(20, self, &next, now, by.id.as_str(), why, None);
        Ok((next, transition))
    }

    pub(super) fn back_in_service(&self) -> Self {
        Self {
            annunciation: Annunciation::Enabled,
            condition: Condition::Normal,
            response: Response::Unacknowledged,
            returned_at: None,
            rising: None,
            falling: None,
            ..self.clone()
        }
    }

    /// Asks for the alert to be taken back as issued in error (row 22): the next look closes it and says so to everybody who was
    /// told. Where the record still says the same, it is raised anew after that.
    ///
    /// # Errors
    /// [`TakeOutError`].
    pub fn take_back(&self, by: &Person, reason: &str) -> Result<Self, TakeOutError> {
        let reason = self.may(by, reason)?;
        let open = matches!(
            self.flat(),
            Flat::Unacknowledged
                | Flat::Acknowledged
                | Flat::Returned
                | Flat::Shelved
                | Flat::SuppressedByDesign
        );
        if !open || self.cancel.is_some() {
            return Err(self.stands_so());
        }
        Ok(Self { cancel: Some(format!("{reason} ({})", by.id)), ..self.clone() })
    }

    /// The reason on one line, where this person may do it.
    fn may(&self, by: &Person, reason: &str) -> Result<String, TakeOutError> {
        let alert = || self.id.to_string();
        if self.kind != Kind::Freeze {
            return Err(TakeOutError::NotAFreeze { alert: alert() });
        }
        if self.closed.is_some() {
            return Err(self.stands_so());
        }
        if !by.manages(&self.site) && !by.operates(&self.site) {
            let (person, site) = (by.id.to_string(), self.site.to_string());
            return Err(TakeOutError::NotTheYard { person, site });
        }
        let words: Vec<&str> = reason.split_whitespace().collect();
        let reason: String = words.join(" ").chars().filter(|letter| !is_hidden(*letter)).collect();
        let reason: String = reason.chars().take(REASON_LETTERS).collect();
        if reason.is_empty() { Err(TakeOutError::NoReason { alert: alert() }) } else { Ok(reason) }
    }

    fn stands_so(&self) -> TakeOutError {
        TakeOutError::Standing { alert: self.id.to_string(), state: self.flat().as_str() }
    }
}
