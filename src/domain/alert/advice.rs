//! What a person is told of a danger: the act, the numbers, and what the reader had been told before. Kept whole with a letter
//! that is held, so that it can be worded anew without one number changing.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::closing::CloseReason;
use super::{AlertId, Facts, Kind, LastNotified, Sent, Standing, Subject, System, Worse};
use crate::domain::boat::{Care, Evidence, Holds, PersonId, SiteId};

/// What the record says now about a system that belonged to the episode.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecordLine {
    /// Which system.
    pub system: System,
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

/// Advice with the same key goes into one letter.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct RollUp {
    /// To whom.
    pub recipient: PersonId,
    /// The round that they were decided in.
    pub round: DateTime<Utc>,
}

/// What one person is told of a danger, or of not being able to see one: kinds `freeze` and `blind`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Advice {
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

impl Advice {
    /// Is it the end?
    #[must_use]
    pub const fn closes(&self) -> bool {
        matches!(self.act, Act::Close { .. })
    }

    /// Is it the end because the danger has come? That something may have frozen is news even to who never got the first word.
    #[must_use]
    pub const fn has_passed(&self) -> bool {
        matches!(self.act, Act::Close { reason: CloseReason::Passed, .. })
    }
}
