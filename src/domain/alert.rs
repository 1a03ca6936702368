//! The life of an alert: one episode that asks a named person for a timely act.
//!
//! An alert has three independent regions and an input flag, after ANSI/ISA-18.2-2016 and IEC 62682: is the condition
//! there ([`Condition`]), has somebody answered ([`Response`]), may it speak ([`Annunciation`]), and can we see at all
//! ([`Input`]). The flat name for people is [`Flat`]. [`decide()`] is pure: it returns the changed documents, the rows of
//! the log and what is to be told to whom; somebody else stores and sends them, in one transaction.
//!
//! Invariants, tested by fuzzing: unknown is never read as harmless (nothing is cleared or eased while blind); whoever was
//! told of a raise gets exactly one closing message for it; a closed id is never opened again.

pub mod action;
mod advice;
pub mod aging;
pub mod answer;
pub mod blend;
mod blind;
pub mod bundle;
pub mod chance;
pub mod deadline;
pub mod decide;
mod draft;
pub mod facts;
mod freeze;
pub mod heat;
pub mod known;
pub mod opening;
mod plain;
pub mod quiet;
pub mod settings;
pub mod shelve;
pub mod situation;
pub mod table;
pub mod told;
mod taken_out;
pub mod thread;
mod transition;
pub mod unreachable;
pub mod worklist;
pub mod worse;
pub mod yard_first;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::domain::boat::{BoatId, CircuitId, Holds, PersonId, SiteId};
use crate::domain::catalogue::identifier;
use crate::domain::risk::{Consequence, Priority};

pub use action::{Action, Content, Decision, Notification};
pub use advice::{Act, Advice, CloseReason, RecordLine, RollUp};
pub use answer::AnswerError;
pub use chance::ChanceClass;
pub use decide::{DecisionInput, decide};
pub use facts::Facts;
pub use known::Known;
pub use plain::Concerned;
pub use settings::AlertSettings;
pub use shelve::ShelveError;
pub use situation::{Low, Situation, Standing, Subject, Target, WorklistTimes};
pub use table::{Flat, TRANSITIONS, TransitionRow};
pub use taken_out::TakeOutError;
pub use told::{Heard, LastNotified, Ledger, Sent};
pub use transition::Transition;
pub use worse::Worse;

identifier!(
    /// An alert: kind, subject and number of the episode, such as `freeze-B02-1`. The same inputs give the same id.
    AlertId
);

impl AlertId {
    /// The id of episode `episode` (1 for the first) of a kind about a boat or a place.
    #[must_use]
    pub fn of(kind: Kind, subject: &Subject, episode: u32) -> Self {
        Self::from(format!("{}-{}-{episode}", kind.as_str(), subject.as_str()))
    }
}

/// The rationalised kinds of alert; the code raises no other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// The first damaging freeze of the season is near and lay-up is not recorded done.
    Deadline,
    /// Cold is forecast against what is wet aboard.
    Freeze,
    /// A blend is too thin for the winters of the place; no cold in sight yet.
    Blend,
    /// A heated place is off, reads low, or is read no more.
    Heat,
    /// No usable forecast.
    Blind,
    /// Nobody responsible can be reached.
    Unreachable,
}

impl Kind {
    /// The name in ids and documents.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Deadline => "deadline",
            Self::Freeze => "freeze",
            Self::Blend => "blend",
            Self::Heat => "heat",
            Self::Blind => "blind",
            Self::Unreachable => "unreachable",
        }
    }
}

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

/// One of a boat's systems: a circuit, or one of several of its kind.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct System {
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
}

/// A system that has belonged to the episode, with the record as it stood when it joined: by this we see that the
/// record has changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// Which.
    pub system: System,
    /// What it held then.
    pub holds: Holds,
    /// Since when it had held that.
    pub since: Option<DateTime<Utc>>,
    /// When it joined.
    pub joined: DateTime<Utc>,
}

/// Does a circuit that holds this hold water without protection? What is unknown does.
#[must_use]
pub const fn is_wet(holds: Holds) -> bool {
    matches!(holds, Holds::Fresh | Holds::Sea | Holds::Unknown | Holds::LubeWet)
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

/// How an episode ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Closing {
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: CloseReason,
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
    /// [`Situation`] of the place, for `blind`.
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
}

impl Subject {
    /// The id of the boat, place or person.
    #[must_use]
    pub fn as_str(&self) -> &str {
        match self {
            Self::Boat(boat) => boat.as_str(),
            Self::Site(site) => site.as_str(),
            Self::Person(person) => person.as_str(),
        }
    }

    /// The boat, if it is one.
    #[must_use]
    pub const fn boat(&self) -> Option<&BoatId> {
        match self {
            Self::Boat(boat) => Some(boat),
            Self::Site(_) | Self::Person(_) => None,
        }
    }
}
