//! The order of the worklist.

use std::cmp::Ordering;

use super::CircuitRisk;

/// Rows with a smaller chance than this are not work.
pub const WORTH_LISTING: f64 = 0.05;

/// Does a row belong on the worklist at all?
#[must_use]
pub fn is_worth_listing(row: &CircuitRisk) -> bool {
    row.frozen_now || row.chance_limit.is_nan() || row.chance_limit >= WORTH_LISTING
}

/// Most pressing first: what can still be helped before what has frozen, then by priority, latest start, harm and
/// chance; names last, so that the order never depends on chance.
#[must_use]
pub fn order(a: &CircuitRisk, b: &CircuitRisk) -> Ordering {
    let start = |row: &CircuitRisk| row.latest_start.map_or(i64::MAX, |at| at.timestamp());
    a.frozen_now
        .cmp(&b.frozen_now)
        .then(b.priority.cmp(&a.priority))
        .then(start(a).cmp(&start(b)))
        .then(b.consequence.cmp(&a.consequence))
        .then(b.chance_limit.total_cmp(&a.chance_limit))
        .then_with(|| a.boat.cmp(&b.boat))
        .then_with(|| a.circuit.cmp(&b.circuit))
        .then_with(|| a.instance.cmp(&b.instance))
}
