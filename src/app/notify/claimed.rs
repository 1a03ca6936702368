//! What protects a boat by somebody's word alone, while a cold is coming that would tell.

use crate::app::assess::{AssessedBoat, Assessment};
use crate::domain::boat::{CircuitId, Evidence, Holds, Mark, SiteId};
use crate::domain::risk::{CircuitRisk, Consequence};

/// A cold that breaks what is full of water, C: below it a word is not enough.
const COLD_C: f64 = -3.0;
/// Circuits of a boat that are named; the others are counted.
const NAMED: usize = 4;

/// `Second Biscuit: engine block, exhaust manifolds`, for each boat whose dear circuits are drained or filled only by what
/// somebody said, at places where the low in the middle of the forecast is below -3 C.
pub fn only_claimed(
    assessment: &Assessment,
    own: impl Fn(&SiteId) -> bool,
    label: impl Fn(&CircuitId) -> String,
) -> Vec<String> {
    let cold = |site: &SiteId| {
        let low = assessment.places.get(site).and_then(|place| place.low.as_ref());
        low.is_some_and(|low| low.median_c < COLD_C)
    };
    let here =
        assessment.boats.iter().filter(|view| own(&view.state.site) && cold(&view.state.site));
    here.filter_map(|view| {
        let mut named: Vec<String> = circuits(view).map(|row| label(&row.circuit)).collect();
        // Two engines have two of a name.
        named.dedup();
        let more = named.len().saturating_sub(NAMED);
        let first = named.get(..NAMED.min(named.len())).unwrap_or_default().join(", ");
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        (!named.is_empty()).then(|| format!("{}: {first}{more}", view.boat.name.trim()))
    })
    .collect()
}

/// A part that only the cooling implies: it is asked whether it is aboard at all.
fn is_implied(view: &AssessedBoat, row: &CircuitRisk) -> bool {
    let added = view.state.circuits.iter().filter(|circuit| circuit.fitted == Mark::Added);
    added
        .map(|circuit| (&circuit.circuit, &circuit.instance))
        .any(|part| part == (&row.circuit, &row.instance))
}

fn circuits(view: &AssessedBoat) -> impl Iterator<Item = &CircuitRisk> {
    view.rows.iter().filter(|row| {
        row.evidence == Evidence::Claimed
            && row.consequence > Consequence::Minor
            && !row.frozen_now
            && !is_implied(view, row)
            && matches!(row.holds, Holds::Drained | Holds::Dry | Holds::Blend | Holds::Coolant)
    })
}
