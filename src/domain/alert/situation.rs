//! What a decision is made from: one boat, or one place, as things stand.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::facts::Low;
use super::told::Standing;
use super::{Alert, AlertSettings, Known};
use crate::domain::boat::{Boat, BoatState, PersonId};
use crate::domain::risk::CircuitRisk;
use crate::domain::risk::timing::WorkingHours;
use crate::domain::weather::ForecastState;
use crate::domain::yard::{Person, Site};

/// When the managers' worklist goes out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorklistTimes {
    /// It goes out in this very round.
    pub in_this_round: bool,
    /// The next one after this round.
    pub next: DateTime<Utc>,
}

/// A boat (for `freeze`) or a place (for `blind`).
#[derive(Debug, Clone)]
pub enum Target {
    /// A boat with its record and its rows.
    Boat {
        /// As the yard's list describes it.
        boat: Box<Boat>,
        /// What the log says is in it.
        state: Box<BoatState>,
        /// Every circuit that was judged; empty and not looked at while blind.
        rows: Vec<CircuitRisk>,
    },
    /// A place, with the advice that stands for boats there.
    Site {
        /// One entry for each person told of an open freeze alert at the place, and each boat.
        standing: Vec<Standing>,
    },
}

/// Everything that a decision may look at; nothing else is.
#[derive(Debug, Clone)]
pub struct Situation {
    /// About what.
    pub target: Target,
    /// The place; for a boat, where it stands now.
    pub site: Site,
    /// A boat stands there on land, and by the record its heat is on.
    pub heated: bool,
    /// Can its newest forecast be relied on?
    pub forecast: ForecastState,
    /// Which service that forecast is from.
    pub service: String,
    /// When it was issued; `None` where none is usable.
    pub issued_at: Option<DateTime<Utc>>,
    /// So many past hours the rows look back on.
    pub looked_back_h: f64,
    /// End of the horizon that the chances of the rows are for.
    pub until: DateTime<Utc>,
    /// The low to come until then.
    pub low: Option<Low>,
    /// The alert of this kind and subject that is not closed, candidates included.
    pub open: Option<Alert>,
    /// What people were told in earlier episodes of this kind and subject: [`Alert::known`] of the last closed one.
    pub known: Vec<Known>,
    /// When managers read the worklist; `None` where none goes out.
    pub worklist: Option<WorklistTimes>,
    /// How many alerts of this kind and subject are closed: numbers the next episode.
    pub episodes_closed: u32,
    /// Everybody who may be told, in the order in which they are told. Whoever answers neither for the boat nor for the
    /// place is passed over, so a service with many owners hands in the few who matter.
    pub people: Vec<Person>,
    /// Messages that people got in the last 24 hours from other alerts; a roll-up counts once.
    pub recent: Vec<(PersonId, DateTime<Utc>)>,
    /// When people work at the place.
    pub working_hours: WorkingHours,
    /// Limits.
    pub settings: AlertSettings,
}
