//! `decide(situation, now) -> decision`: what changes, what the log says, who is told.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{
    Alert, AlertId, Facts, Flat, Kind, LastNotified, Sent, Situation, Standing, Subject, Target,
};
use super::{Worse, blind, freeze};
use crate::domain::boat::{Care, Evidence, Holds, PersonId, SiteId};

/// Why an episode ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum CloseReason {
    /// The condition went away.
    Returned,
    /// It came: everything that was in danger is past its limit, and nothing is left to prevent.
    Passed,
    /// The record says that the work is done.
    Done,
    /// Another alert took over.
    Superseded {
        /// Which.
        by: AlertId,
    },
    /// It is not followed any more: by a rule from where the boat stands, or by hand until it is looked at again.
    NotFollowed {
        /// Why, in words.
        why: String,
        /// Until when, where it was taken out by hand.
        until: Option<DateTime<Utc>>,
    },
    /// Issued in error.
    Cancelled {
        /// What was wrong.
        why: String,
    },
}

/// What the record says now about a system that belonged to the episode.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecordLine {
    /// Which system.
    pub system: super::System,
    /// What it holds now.
    pub holds: Holds,
    /// On what evidence.
    pub evidence: Evidence,
    /// Since when.
    pub since: Option<DateTime<Utc>>,
}

/// What to say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "act", rename_all = "snake_case")]
pub enum Act {
    /// The first word about an episode.
    Raise {
        /// It had returned and is back, under the same id.
        again: bool,
    },
    /// It is worse than last told; empty: it eased and what to do has changed.
    Update {
        /// In which ways.
        worse: Vec<Worse>,
    },
    /// The end.
    Close {
        /// Why.
        reason: CloseReason,
        /// What the record says of the systems that were named.
        records: Vec<RecordLine>,
    },
}

/// Tellings with the same key go into one letter.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct RollUp {
    /// To whom.
    pub recipient: PersonId,
    /// The round that they were decided in.
    pub round: DateTime<Utc>,
}

/// One thing to tell one person.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Notification {
    /// Which alert.
    pub alert: AlertId,
    /// Its kind.
    pub kind: Kind,
    /// About what.
    pub subject: Subject,
    /// The place.
    pub site: SiteId,
    /// Its revision.
    pub revision: u32,
    /// Step of the escalation; 0 is the first contact.
    pub step: u8,
    /// Who.
    pub recipient: PersonId,
    /// What.
    pub act: Act,
    /// The numbers.
    pub facts: Facts,
    /// What this person was last told, if anything.
    pub previous: Option<LastNotified>,
    /// The messages that this person has had from this alert, oldest first.
    pub earlier: Vec<Sent>,
    /// The reader's next worklist carries it: no letter of its own.
    pub with_worklist: bool,
    /// Held until then by quiet hours.
    pub not_before: Option<DateTime<Utc>>,
    /// Held until then for the yard to look at first.
    pub hold_until: Option<DateTime<Utc>>,
    /// The yard may hold it until then at most.
    #[serde(default)]
    pub hold_most: Option<DateTime<Utc>>,
    /// The yard hears of it before or together with this reader.
    #[serde(default)]
    pub yard_hears: bool,
    /// To whoever hears before the owner: when the owner's letter goes unless somebody holds it.
    #[serde(default)]
    pub owner_hears: Option<DateTime<Utc>>,
    /// A word that the yard has added to a letter before it went.
    #[serde(default)]
    pub yard_note: Option<String>,
    /// Who looks after the boat, and so hears first; `None` for a place.
    pub care: Option<Care>,
    /// For managers and operators: notifications of one round to be put into one letter.
    pub rollup: Option<RollUp>,
    /// For `blind`: the advice that stands for this person, over the boats of the place.
    pub standing: Vec<Standing>,
}

/// One row of the log of an alert: enough to see why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Transition {
    /// Row of [`super::TRANSITIONS`].
    pub row: u8,
    /// Which alert.
    pub alert: AlertId,
    /// State before.
    pub from: Flat,
    /// State after.
    pub to: Flat,
    /// When.
    pub at: DateTime<Utc>,
    /// A person's id, or `rule`.
    pub actor: String,
    /// Why, in words.
    pub reason: String,
    /// The issue of the forecast that was looked at.
    pub issue: Option<DateTime<Utc>>,
    /// Version of the rules.
    pub rule_version: u32,
}

impl Transition {
    /// The move from one document to the next.
    #[must_use]
    pub fn between(
        row: u8,
        before: &Alert,
        after: &Alert,
        at: DateTime<Utc>,
        actor: &str,
        reason: &str,
        issue: Option<DateTime<Utc>>,
    ) -> Self {
        Self {
            row,
            alert: after.id.clone(),
            from: before.flat(),
            to: after.flat(),
            at,
            actor: actor.to_owned(),
            reason: reason.to_owned(),
            issue,
            rule_version: super::facts::RULE_VERSION,
        }
    }
}

/// What follows from a situation. Store `alerts` and `transitions` and put the notifications into the outbox, all in one
/// transaction, or none of it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// Documents that are new or changed, whole.
    pub alerts: Vec<Alert>,
    /// Rows for the append-only log.
    pub transitions: Vec<Transition>,
    /// What to tell to whom.
    pub notifications: Vec<Notification>,
    /// The numbers that each alert with a transition was looked at with, whether or not anybody was told.
    pub looked: Vec<(AlertId, Facts)>,
}

/// Decides about one boat (kind `freeze`) or one place (kind `blind`). Pure: the same situation and `now` give the same
/// decision, so that a round repeated after a stop changes nothing.
#[must_use]
pub fn decide(situation: &Situation, now: DateTime<Utc>) -> Decision {
    match &situation.target {
        Target::Boat { boat, state, rows } => freeze::decide(situation, boat, state, rows, now),
        Target::Site { standing } => blind::decide(situation, standing, now),
    }
}
