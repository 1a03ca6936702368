//! What stands below the list: how good it is, what falls short, what waiting costs, what to have.

use std::collections::BTreeSet;

use crate::app::planning::lines::litres;
use crate::app::planning::{Row, WAITING_BOATS_MAX, YardPlan};
use crate::domain::risk::plan::tail::Tail;
use crate::domain::risk::plan::words::boats;

/// Chance of twenty damaged boats or more from which on it is warned of.
const WARN_FROM: f64 = 0.05;

/// A loss in the unit that the plan weighs by.
pub(super) fn lost(plan: &YardPlan, loss: f64) -> String {
    if plan.equal { format!("{loss:.2} boats") } else { format!("{loss:.0}") }
}

/// The lines below the list; none where there is no list.
pub(super) fn lines(plan: &YardPlan) -> Vec<String> {
    if plan.rows.is_empty() {
        return Vec::new();
    }
    let mut out = vec![how_good(plan)];
    let hour = plan.ranked.divided.hour_value;
    if hour >= plan.next_to_nothing() {
        out.push(format!("One more crew hour today would save {}.", lost(plan, hour)));
    }
    out.extend(shortfall(plan));
    if let [now, later @ ..] = plan.waiting.as_slice() {
        let steps: Vec<String> = later.iter().map(|loss| lost(plan, loss - now)).collect();
        out.push(format!("Waiting one, two ... days costs {}.", steps.join(", ")));
    } else if plan.rows.len() > WAITING_BOATS_MAX {
        out.push(format!(
            "What waiting costs is not computed for more than {WAITING_BOATS_MAX} rows of work."
        ));
    }
    let drains = if plan.drains_spare > 0.0 {
        ", the emergency drains that it asks for counted as made"
    } else {
        ""
    };
    out.push(format!(
        "Damaged boats in these days by this plan{drains}: {}.",
        chances(&plan.tail.0)
    ));
    out.push(format!("With nothing done: {}.", chances(&plan.tail.1)));
    if plan.tail.0.chances.last().is_some_and(|(_, chance)| *chance > WARN_FROM) {
        out.push(
            "WARNING: one cold may take twenty boats or more even so. More hands, or emergency drains first."
                .to_owned(),
        );
    }
    if !plan.order.is_empty() {
        out.push(format!("To have for the week: {}.", litres(&plan.order)));
    }
    out
}

/// What the list is expected to lose, and what that is measured by. The bound knows the hours that are left after tonight's
/// round and the dated drains, and nothing of another choice of drains.
fn how_good(plan: &YardPlan) -> String {
    let aim = if plan.equal {
        "fewest damaged boats, each counted alike"
    } else {
        "least expected loss, in the money of the yard's own table"
    };
    let list = match (plan.gap(), plan.loss < plan.next_to_nothing()) {
        (None, true) => "this list is expected to lose next to nothing".to_owned(),
        (None, false) => format!(
            "this list is expected to lose {}, where an order of these lay-ups without any hindrance would lose next to nothing",
            lost(plan, plan.loss)
        ),
        (Some(gap), _) if gap < 5e-4 => format!(
            "this list is expected to lose {}; no order of these lay-ups loses less in the hours that tonight's round and the dated drains leave (another choice of drains or hours may)",
            lost(plan, plan.loss)
        ),
        (Some(gap), _) => format!(
            "this list is expected to lose {}, within {:.1} % of what no order of these lay-ups can undercut in the hours that tonight's round and the dated drains leave ({}; another choice of drains or hours may)",
            lost(plan, plan.loss),
            gap * 100.0,
            lost(plan, plan.ranked.divided.bound)
        ),
    };
    let drains = if plan.drains_spare >= plan.next_to_nothing() {
        format!(
            "; with the emergency drains that it dates, {}",
            lost(plan, (plan.loss - plan.drains_spare).max(0.0))
        )
    } else {
        String::new()
    };
    let kept = plan.ranked.kept.map_or_else(String::new, |gain| {
        if gain < plan.next_to_nothing() {
            "; yesterday's order was kept, a new one would spare nothing".to_owned()
        } else {
            let gain = lost(plan, gain);
            format!("; yesterday's order was kept, as a new one would spare {gain} of that")
        }
    });
    format!("How good (aim: {aim}): {list}{drains}{kept}.")
}

/// Boats that do not fit. Those that are hauled only after the days looked at are no shortfall of hands.
fn shortfall(plan: &YardPlan) -> Option<String> {
    let is_undone =
        |row: &&Row| row.minutes > 0 && row.done_on.is_none() && row.begins_on < plan.days.len();
    let undone: Vec<&Row> = plan.rows.iter().filter(is_undone).collect();
    let named: BTreeSet<&str> = undone.iter().map(|row| row.boat.id.as_str()).collect();
    let loss: f64 = undone.iter().map(|row| row.job.price_undone()).sum();
    (!undone.is_empty()).then(|| {
        format!(
            "Shortfall: {} below the line, expected loss {} without drains.",
            boats(named.len()),
            lost(plan, loss)
        )
    })
}

fn chances(tail: &Tail) -> String {
    let one = |(least, chance): &(usize, f64)| {
        format!("{} % for {least} or more", (chance * 100.0).round())
    };
    tail.chances.iter().map(one).collect::<Vec<_>>().join(", ")
}
