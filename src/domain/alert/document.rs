//! One alert, whole: its three regions, who was told what, and on what it was decided.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::closing::Closing;
use super::facts::Facts;
use super::known::Known;
use super::subject::{AlertId, Kind, Subject};
use super::system::Member;
use super::table::Flat;
use super::told::{Ledger, Standing};
use crate::domain::boat::{BoatId, PersonId, SiteId};
use crate::domain::risk::{Consequence, Priority};

/// Is the condition there?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "condition", rename_all = "snake_case")]
pub enum Condition {
    /// Not there, or not yet long enough.
    Normal,
    /// There.
    Active {
        /// How pressing, as the rows say.
        priority: Priority,
    },
}

impl Condition {
    /// Is it there, and of high priority?
    #[must_use]
    pub const fn is_high(&self) -> bool {
        matches!(self, Self::Active { priority: Priority::High })
    }
}

/// Has somebody answered?
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "response", rename_all = "snake_case")]
pub enum Response {
    /// Nobody yet.
    Unacknowledged,
    /// Somebody responsible has seen it.
    Acknowledged {
        /// Who.
        by: PersonId,
        /// When they said so.
        at: DateTime<Utc>,
        /// Until when they plan to have done it, if they said.
        plan_until: Option<DateTime<Utc>>,
    },
}

/// May it speak?
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "annunciation", rename_all = "snake_case")]
pub enum Annunciation {
    /// Yes.
    Enabled,
    /// Put aside by a person, never without end and reason.
    Shelved {
        /// Until when.
        until: DateTime<Utc>,
        /// By whom.
        by: PersonId,
        /// Why.
        reason: String,
    },
    /// Not raised, by a written rule from the boat's state.
    SuppressedByDesign {
        /// Which rule.
        rule: String,
    },
    /// Taken out by an authorised person.
    OutOfService {
        /// By whom.
        by: PersonId,
        /// When it is to be looked at again: then it is followed again by itself.
        review_on: DateTime<Utc>,
        /// Why.
        #[serde(default)]
        reason: String,
    },
}

/// Can we see?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "input", rename_all = "snake_case")]
pub enum Input {
    /// Yes.
    Known,
    /// No usable forecast: the state is kept.
    Unknown {
        /// Since when.
        since: DateTime<Utc>,
    },
}

/// The first look at which something began to hold: memory of the on-delay and the off-delay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FirstSeen {
    /// When we looked.
    pub at: DateTime<Utc>,
    /// The issue of the forecast that we looked at.
    pub issue: DateTime<Utc>,
}

/// What the last worklist said of the boat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Listed {
    /// When it went out.
    pub at: DateTime<Utc>,
    /// The earliest latest start on it.
    pub latest_start: Option<DateTime<Utc>>,
    /// The gravest harm on it.
    pub consequence: Consequence,
}

/// One alert, whole: everything that the next decision needs stands in this document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alert {
    /// Its id.
    pub id: AlertId,
    /// Which kind.
    pub kind: Kind,
    /// About which boat or place.
    pub subject: Subject,
    /// The place concerned.
    pub site: SiteId,
    /// Counts up with every telling; 0 before the first.
    pub revision: u32,
    /// Region one.
    pub condition: Condition,
    /// Region two.
    pub response: Response,
    /// Region three.
    pub annunciation: Annunciation,
    /// The input flag.
    pub input: Input,
    /// When the episode was raised; `None` while it is only a candidate waiting out the on-delay.
    pub raised_at: Option<DateTime<Utc>>,
    /// When the condition returned to normal.
    pub returned_at: Option<DateTime<Utc>>,
    /// How it ended.
    pub closed: Option<Closing>,
    /// On-delay: since when the limit has been met, not yet raised.
    pub rising: Option<FirstSeen>,
    /// Off-delay: since when everything has been below the off-threshold.
    pub falling: Option<FirstSeen>,
    /// Every system that has belonged to the episode.
    pub members: Vec<Member>,
    /// The mildest coming low (median, C) at which a system was over its threshold: the limit, in air temperature, that
    /// the deadband is measured from.
    pub mildest_active_low_c: Option<f64>,
    /// Who was told what.
    pub told: BTreeMap<PersonId, Ledger>,
    /// Updates sent that were no worsening.
    pub eased_updates: u8,
    /// Since when everything over its threshold has been past its limit.
    #[serde(default)]
    pub frozen_since: Option<DateTime<Utc>>,
    /// What each person has been told of, in this and in earlier episodes.
    #[serde(default)]
    pub known: Vec<Known>,
    /// What the last worklist said of it; `None` where it was not on it.
    #[serde(default)]
    pub listed: Option<Listed>,
    /// Steps of the escalation taken.
    #[serde(default)]
    pub escalated: u8,
    /// For kind `unreachable`: next contacts who were told, and when; the newest last.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub passed_on: Vec<PassedOn>,
    /// Somebody has asked for it to be taken back as issued in error, and why; carried out by the next look.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cancel: Option<String>,
    /// The numbers of the last decision that told somebody: what `explain` prints.
    pub decided_on: Option<Facts>,
}

/// What did not reach its reader was passed on to a next contact.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PassedOn {
    /// To whom.
    pub to: PersonId,
    /// When.
    pub at: DateTime<Utc>,
}

impl Alert {
    /// A candidate: nothing is raised yet.
    #[must_use]
    pub fn candidate(kind: Kind, subject: Subject, site: SiteId, episode: u32) -> Self {
        Self {
            id: AlertId::of(kind, &subject, episode),
            kind,
            subject,
            site,
            revision: 0,
            condition: Condition::Normal,
            response: Response::Unacknowledged,
            annunciation: Annunciation::Enabled,
            input: Input::Known,
            raised_at: None,
            returned_at: None,
            closed: None,
            rising: None,
            falling: None,
            members: Vec::new(),
            mildest_active_low_c: None,
            told: BTreeMap::new(),
            eased_updates: 0,
            frozen_since: None,
            known: Vec::new(),
            listed: None,
            escalated: 0,
            passed_on: Vec::new(),
            cancel: None,
            decided_on: None,
        }
    }

    /// Takes back that a person was told in this episode: nothing of it reached them. The next look tells them anew.
    pub fn untell(&mut self, person: &PersonId) {
        if let Some(ledger) = self.told.remove(person) {
            let told = |at| ledger.sent.iter().any(|sent| sent.at == at);
            self.known.retain(|known| known.person != *person || !told(known.told_at));
        }
    }

    /// Takes back the last word to a person, who had heard of the raise before: it did not reach them. The next look compares
    /// with nothing and tells them what stands then.
    pub fn untell_last(&mut self, person: &PersonId) {
        if let Some(ledger) = self.told.get_mut(person) {
            ledger.last.at = ledger.sent.first().map_or(ledger.last.at, |sent| sent.at);
            ledger.worst.priority = Priority::Notice;
            ledger.worst.chance = 0.0;
            ledger.worst.low_c = None;
            ledger.worst.consequence = Consequence::Minor;
            ledger.worst.systems.clear();
            ledger.updates = 0;
        }
        self.known.retain(|known| known.person != *person);
    }

    /// The flat name of the three regions.
    #[must_use]
    pub fn flat(&self) -> Flat {
        if self.closed.is_some() {
            return Flat::Closed;
        }
        match self.annunciation {
            Annunciation::Shelved { .. } => return Flat::Shelved,
            Annunciation::SuppressedByDesign { .. } => return Flat::SuppressedByDesign,
            Annunciation::OutOfService { .. } => return Flat::OutOfService,
            Annunciation::Enabled => {}
        }
        match (&self.condition, &self.response) {
            (Condition::Active { .. }, Response::Unacknowledged) => Flat::Unacknowledged,
            (Condition::Active { .. }, Response::Acknowledged { .. }) => Flat::Acknowledged,
            (Condition::Normal, _) if self.returned_at.is_some() => Flat::Returned,
            (Condition::Normal, _) => Flat::Normal,
        }
    }

    /// Has it been raised and not yet returned or closed? People then count on a closing message.
    #[must_use]
    pub fn is_raised(&self) -> bool {
        self.closed.is_none() && matches!(self.condition, Condition::Active { .. })
    }

    /// The advice of this alert that people stand on: what each person who awaits its end was last told. Goes into the
    /// [`Situation`](super::Situation) of the place, for `blind`.
    #[must_use]
    pub fn standing(&self, boat: &BoatId, boat_name: &str) -> Vec<Standing> {
        self.told
            .iter()
            .filter(|(_, ledger)| ledger.awaits_closing)
            .map(|(person, ledger)| Standing {
                person: person.clone(),
                boat: boat.clone(),
                boat_name: boat_name.to_owned(),
                told: ledger.last.clone(),
            })
            .collect()
    }
}
