//! One boat: what is in each circuit, since when, on what evidence, what undid it, to what it holds.

use chrono_tz::Tz;
use serde::Serialize;

use super::local_seconds;
use crate::domain::boat::EventId;
use crate::domain::boat::{
    BoatId, BoatState, CircuitId, CircuitState, CoolingKind, Evidence, Holds, Mark, Mitigation,
    SiteId,
};
use crate::domain::units::Celsius;

/// A boat as one document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoatView {
    /// Which.
    pub boat: BoatId,
    /// At which instant.
    pub at: String,
    /// By what was known then.
    pub known_at: String,
    /// Where she is.
    pub site: SiteId,
    /// In the water?
    pub afloat: bool,
    /// Under a cover?
    pub covered: bool,
    /// How the engine is cooled, by the list and by what was answered until then.
    pub cooling: CoolingKind,
    /// Her circuits.
    pub circuits: Vec<CircuitLine>,
    /// Heat, de-icer, charger: what hangs on power.
    pub mitigations: Vec<MitigationLine>,
    /// What must be tested before a run, in words.
    pub test_before_running: Vec<String>,
    /// What is to be found out about her, in words.
    pub open_questions: Vec<String>,
}

impl BoatView {
    /// In the clock of the place where she is.
    #[must_use]
    pub fn of(state: &BoatState, zone: Tz) -> Self {
        Self {
            boat: state.boat.clone(),
            at: local_seconds(state.at, zone),
            known_at: local_seconds(state.known_at, zone),
            site: state.site.clone(),
            afloat: state.afloat,
            covered: state.covered,
            cooling: state.cooling,
            circuits: state.circuits.iter().map(|circuit| CircuitLine::of(circuit, zone)).collect(),
            mitigations: state
                .mitigations
                .iter()
                .map(|one| MitigationLine::of(one, zone))
                .collect(),
            test_before_running: state.test_before_running.clone(),
            open_questions: state.open_questions.clone(),
        }
    }
}

/// What a circuit holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CircuitLine {
    /// Which.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// On whose word she counts as having it.
    pub fitted: Mark,
    /// What is in it.
    pub holds: Holds,
    /// First ice, C; null where none is known.
    pub first_ice_c: Option<f64>,
    /// 0.15 of it ice, C.
    pub slush_c: Option<f64>,
    /// A third of it ice, C.
    pub burst_c: Option<f64>,
    /// On what evidence.
    pub evidence: Evidence,
    /// Drained, but a full pocket is assumed.
    pub full_pocket: bool,
    /// Since when.
    pub since: Option<String>,
    /// Events and rules that say so.
    pub because: Vec<String>,
    /// The event that undid what had been done.
    pub undone_by: Option<EventId>,
    /// What is to be found out about it, in words.
    pub open_questions: Vec<String>,
}

impl CircuitLine {
    fn of(circuit: &CircuitState, zone: Tz) -> Self {
        Self {
            circuit: circuit.circuit.clone(),
            instance: circuit.instance.clone(),
            fitted: circuit.fitted,
            holds: circuit.holds,
            first_ice_c: degrees(circuit.first_ice),
            slush_c: degrees(circuit.slush),
            burst_c: degrees(circuit.burst),
            evidence: circuit.evidence,
            full_pocket: circuit.closed_pocket,
            since: circuit.since.map(|at| local_seconds(at, zone)),
            because: circuit.because.clone(),
            undone_by: circuit.undone_by.clone(),
            open_questions: circuit.open_questions.clone(),
        }
    }
}

/// Heat, a de-icer or a charger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MitigationLine {
    /// `heat`, `deicer`, `charger`.
    pub kind: String,
    /// On or off.
    pub on: bool,
    /// Since when.
    pub since: String,
    /// The event that says so.
    pub event: EventId,
}

impl MitigationLine {
    fn of(mitigation: &Mitigation, zone: Tz) -> Self {
        Self {
            kind: mitigation.kind.clone(),
            on: mitigation.on,
            since: local_seconds(mitigation.since, zone),
            event: mitigation.event.clone(),
        }
    }
}

/// Two decimals, and no minus before a zero.
fn degrees(value: Option<Celsius>) -> Option<f64> {
    value.map(|value| {
        let rounded = (value.value() * 100.0).round() / 100.0;
        if rounded == 0.0 { 0.0 } else { rounded }
    })
}
