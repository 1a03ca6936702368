//! What the fold says about a boat at an instant: per circuit what it holds, since when, on what evidence, and why.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{BoatId, CircuitId, CoolingKind, EventId, Evidence, Holds, Mark, SiteId, Stay};
use crate::domain::catalogue::{CircuitKind, Confinement, DeedBoat};
use crate::domain::physics::Liquid;
use crate::domain::units::Celsius;

/// One circuit (or one instance of it) at the instant asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CircuitState {
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several, in words: `port engine`, `centre log`.
    pub instance: Option<String>,
    /// What it holds.
    pub holds: Holds,
    /// The liquid that the physics is to freeze: fresh water where the state is unknown, nothing where there is
    /// nothing to freeze.
    pub liquid: Option<Liquid>,
    /// On whose word the boat counts as having it.
    #[serde(default)]
    pub fitted: Mark,
    /// A tank that was filled to its vent, by the record: ice in it has no room.
    #[serde(default)]
    pub brimful: bool,
    /// Litres of it that matter for freezing: the fitted volume, or the pocket left after draining.
    pub litres: f64,
    /// True where it is called drained but a full pocket must be assumed (opened too short, too little came out, ice seen).
    pub closed_pocket: bool,
    /// First ice, where a liquid is known.
    pub first_ice: Option<Celsius>,
    /// 15 % ice by mass, where the data reach it.
    pub slush: Option<Celsius>,
    /// One third ice by mass, where the data reach it.
    pub burst: Option<Celsius>,
    /// When it was last read off an instrument: an old reading of a blend is worth less than a fresh one.
    pub read_at: Option<DateTime<Utc>>,
    /// A blend that is known to have been slush since it was filled in: it has a weak layer.
    #[serde(default)]
    pub separated: bool,
    /// How well it is known.
    pub evidence: Evidence,
    /// Since when it has been so.
    pub since: Option<DateTime<Utc>>,
    /// The events and rules that made it so, for people and for the record.
    pub because: Vec<String>,
    /// The event that undid an earlier protection, if one did.
    pub undone_by: Option<EventId>,
    /// What somebody should find out.
    pub open_questions: Vec<String>,
}

impl CircuitState {
    /// How the liquid in it is enclosed: a vessel that is full to its top gives ice no room, whatever room it has otherwise.
    #[must_use]
    pub const fn confinement(&self, kind: &CircuitKind) -> Confinement {
        match self.holds {
            Holds::Drained if !self.closed_pocket => kind.confinement,
            Holds::Dry | Holds::Absent => kind.confinement,
            _ => kind.confinement_when(self.brimful),
        }
    }
}

/// A protection that hangs on something else, such as power.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mitigation {
    /// `heat`, `deicer` or `charger`.
    pub kind: String,
    /// Whether it is on, as far as the log says.
    pub on: bool,
    /// Since when.
    pub since: DateTime<Utc>,
    /// The event that says so.
    pub event: EventId,
}

/// A boat at an instant, as known at another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BoatState {
    /// Which boat.
    pub boat: BoatId,
    /// The instant asked for.
    pub at: DateTime<Utc>,
    /// Only what the yard knew by then counts.
    pub known_at: DateTime<Utc>,
    /// Where it stands or floats then.
    pub site: SiteId,
    /// True while it lies in the water.
    pub afloat: bool,
    /// While it lies in the water: when by the plan it will stand ashore, if a haul is planned and still to come.
    #[serde(default)]
    pub ashore_from: Option<DateTime<Utc>>,
    /// It counts as ashore only because its haul was planned for before now; nobody has entered it.
    #[serde(default)]
    pub assumed_ashore: bool,
    /// Where and how it was before, oldest first, up to where and how it is now: what is in it has been through that weather.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub earlier: Vec<Stay>,
    /// Under a cover.
    pub covered: bool,
    /// How the engine is cooled, by the list and by what was answered until then.
    #[serde(default)]
    pub cooling: CoolingKind,
    /// Nobody has said how, and it is asked.
    #[serde(default)]
    pub cooling_open: bool,
    /// What somebody should find out about what is aboard; these stand among [`BoatState::open_questions`] too.
    #[serde(default)]
    pub fitting_questions: Vec<String>,
    /// Every fitted circuit, in the order of the catalogue.
    pub circuits: Vec<CircuitState>,
    /// What hangs on power.
    pub mitigations: Vec<Mitigation>,
    /// Circuits seen frozen or damaged, or that the log says to test before running.
    pub test_before_running: Vec<String>,
    /// What somebody should find out about the boat as a whole.
    pub open_questions: Vec<String>,
}

impl BoatState {
    /// The boat as what is asked of people goes by it: that a haul was planned is no proof of it.
    #[must_use]
    pub fn for_deeds(&self) -> DeedBoat {
        DeedBoat {
            afloat: self.afloat || self.assumed_ashore,
            cooling: (!self.cooling_open).then_some(self.cooling),
        }
    }
}
