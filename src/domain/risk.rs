//! What the coming cold means for what each circuit holds: chances, the first dangerous hour, the latest start.

pub mod ambient;
pub mod case;
pub mod judge;
pub mod plan;
pub mod power;
pub mod rank;
pub mod reasons;
pub mod start;
pub mod timing;
pub mod unknown_past;
mod interrupts;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::domain::boat::{BoatId, CircuitId, Evidence, Holds, SiteId};
pub use crate::domain::catalogue::{Confinement, Consequence};
use crate::domain::physics::Liquid;

/// The share of ice that decides for a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// 0.05 by mass: water in a closed shell has begun to freeze.
    FirstIce,
    /// 0.15 by mass: the blend is slush.
    Slush,
    /// One third by mass: parts are likely to break.
    Burst,
}

impl Limit {
    /// The limit of a circuit that holds `holds`, judged as `liquid`: antifreeze of no known strength is judged as water, and
    /// as early.
    #[must_use]
    pub fn of(holds: Holds, liquid: &Liquid) -> Self {
        match holds {
            Holds::Blend | Holds::Coolant if *liquid != Liquid::FreshWater => Self::Burst,
            _ => Self::FirstIce,
        }
    }

    /// The ice mass fraction at which the limit is passed.
    #[must_use]
    pub const fn ice_share(self) -> f64 {
        match self {
            Self::FirstIce => 0.05,
            Self::Slush => 0.15,
            Self::Burst => 1.0 / 3.0,
        }
    }
}

/// How pressing a row is, from consequence and slack. The order is ascending.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Priority {
    /// Worth knowing, nothing to do now; never interrupts.
    Notice,
    /// Plan it.
    Low,
    /// Do it in working hours.
    Medium,
    /// Do it now.
    High,
}

/// What past hours say of a circuit, beside whether it was past its limit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct IceSoFar {
    /// It may have passed its limit, but likely has not: it is tested, and what can be done is done.
    #[serde(default)]
    pub may_be: bool,
    /// It was past its limit, and there is no ice left in it.
    #[serde(default)]
    pub thawed: bool,
    /// When what is ice now will have thawed, as most of the forecasts have it.
    #[serde(default)]
    pub thaws_at: Option<DateTime<Utc>>,
    /// On the thaw a crack in it lets the sea in, or the water of the house out.
    #[serde(default)]
    pub floods: bool,
    /// Nobody knows how cold it was before that, and it was a time of the year in which it may have been cold enough.
    #[serde(default)]
    pub unknown_before: Option<DateTime<Utc>>,
}

impl IceSoFar {
    /// Is there nothing to say?
    #[must_use]
    pub fn is_plain(&self) -> bool {
        Self { floods: false, ..*self } == Self::default()
    }
}

/// One circuit of one boat against the coming cold: a row of the worklist.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CircuitRisk {
    /// Which boat.
    pub boat: BoatId,
    /// Where it stands.
    pub site: SiteId,
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// What it holds.
    pub holds: Holds,
    /// Since when it has held that, by the record.
    pub since: Option<DateTime<Utc>>,
    /// How well that is known.
    pub evidence: Evidence,
    /// Harm if nothing is done (raised afloat where the part keeps the sea out).
    pub consequence: Consequence,
    /// The limit that decides.
    pub limit: Limit,
    /// First ice of the liquid as judged, in C.
    pub limit_at_c: Option<f64>,
    /// Chance that 5 % ice is passed before the horizon.
    pub chance_first_ice: f64,
    /// Chance that 15 % ice is passed.
    pub chance_slush: f64,
    /// Chance that one third ice is passed.
    pub chance_burst: f64,
    /// Chance that the deciding limit is passed.
    pub chance_limit: f64,
    /// Was it past its limit already at the instant asked for?
    pub frozen_now: bool,
    /// What else is known, or not, of the ice in it so far.
    #[serde(default, skip_serializing_if = "IceSoFar::is_plain")]
    pub ice: IceSoFar,
    /// A blend that has been slush and is judged by its weakest layer.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub separated: bool,
    /// First hour by which the chance reaches the circuit's on-threshold.
    pub first_danger: Option<DateTime<Utc>>,
    /// Last moment to begin and still be done in time.
    pub latest_start: Option<DateTime<Utc>>,
    /// Latest start minus now, in seconds.
    pub slack_s: Option<i64>,
    /// How pressing it is.
    pub priority: Priority,
    /// What to do, as a phrase key and in words.
    pub action: String,
    /// Minutes of hands-on work for that.
    pub minutes: f64,
    /// The reasons, in words: what it holds since when and on what evidence, what is coming.
    pub why: Vec<String>,
}
