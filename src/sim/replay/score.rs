//! What came of a winter that was played.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::domain::alert::Alert;
use crate::domain::boat::{BoatId, CircuitId, PersonId};
use crate::domain::risk::Priority;

/// One message that a person gets: a roll-up counts once.
#[derive(Debug, Clone)]
pub struct Message {
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub person: PersonId,
    /// The kind, as the outbox names it: `freeze`, `blind`, `opening`, `worklist` ...
    pub kind: String,
    /// The alerts that it tells of, each with its revision; none of a worklist or an opening letter.
    pub alerts: Vec<(String, u32)>,
    /// Its subject.
    pub subject: String,
    /// It releases its reader.
    pub closing: bool,
    /// The highest of what it tells.
    pub priority: Priority,
}

/// A severe part that froze, and whether its owner knew.
#[derive(Debug, Clone)]
pub struct Frozen {
    /// When it had newly passed its limit.
    pub at: DateTime<Utc>,
    /// The boat.
    pub boat: BoatId,
    /// The part.
    pub circuit: CircuitId,
    /// When the owner was first told of its system, in its present state.
    pub told: Option<DateTime<Utc>>,
}

impl Frozen {
    /// Told a day or more before (0), later (1), never (2).
    #[must_use]
    pub fn slot(&self) -> usize {
        match self.told {
            Some(told) if self.at - told >= TimeDelta::hours(24) => 0,
            Some(_) => 1,
            None => 2,
        }
    }
}

/// What came of a winter.
#[derive(Debug, Clone, Default)]
pub struct Played {
    /// Every message, in order.
    pub messages: Vec<Message>,
    /// Every alert.
    pub alerts: Vec<Alert>,
    /// Hours from the first word of an episode to the first danger, for episodes that reached the two upper priorities
    /// while there was still time.
    pub leads_h: Vec<f64>,
    /// Severe parts that froze, by [`Frozen::slot`].
    pub froze: [usize; 3],
    /// Each of them. What was learnt of only after it had frozen is not among them: nobody could have said it before.
    pub frozen: Vec<Frozen>,
    /// Episodes, and those of them in which nothing that was named froze.
    pub episodes: usize,
    /// See `episodes`.
    pub false_alarms: usize,
    /// When the owner of each boat was told of a raise.
    pub raised: BTreeMap<BoatId, Vec<DateTime<Utc>>>,
    /// Episodes of less than three hours.
    pub fleeting: usize,
    /// Looks.
    pub rounds: usize,
}

impl Played {
    /// Messages of one person, of every kind but the worklist: all, and the most in 24 hours that are neither closing nor of high
    /// priority.
    #[must_use]
    pub fn count(&self, person: &PersonId) -> (usize, usize) {
        let worklist = "worklist";
        let own: Vec<&Message> = self
            .messages
            .iter()
            .filter(|message| message.person == *person && message.kind != worklist)
            .collect();
        let counted: Vec<DateTime<Utc>> = own
            .iter()
            .filter(|message| !message.closing && message.priority < Priority::High)
            .map(|message| message.at)
            .collect();
        let in_a_day = |at: &DateTime<Utc>| {
            let day =
                |other: &&DateTime<Utc>| **other <= *at && *at - **other < TimeDelta::hours(24);
            counted.iter().filter(day).count()
        };
        (own.len(), counted.iter().map(in_a_day).max().unwrap_or(0))
    }
}
