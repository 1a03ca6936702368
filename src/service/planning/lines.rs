//! The plan in single lines, for the morning's letter: tonight's round and today's complete lay-ups.

use std::collections::BTreeMap;

use super::{Row, YardPlan};
use crate::domain::boat::{DrainPermission, SiteId};
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::units::work_time;

/// Lines of each kind that a letter carries; what is more stands in the plan.
const LINES_MAX: usize = 15;

/// What is to be asked before somebody goes aboard; empty where nothing.
#[must_use]
pub const fn permission(row: &Row) -> &'static str {
    match row.boat.drain_permission {
        DrainPermission::Yes => "",
        DrainPermission::No => "ask the owner first",
        DrainPermission::NotApplicable => "the owner's own work",
        DrainPermission::Unknown => "permission not on record: ask",
    }
}

/// The stops of tonight's round at the places that `own` names, in walking order: `08:29 QUAY Row D-2: B05 Old Lamplighter,
/// 41 min: drain ...`.
#[must_use]
pub fn round(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> Vec<String> {
    let Some(round) = &plan.tonight else { return Vec::new() };
    let stops = round.stops.iter().filter_map(|stop| {
        let row = plan.rows.get(stop.job).filter(|row| own(&row.work.place))?;
        let scope = row.urgent?;
        let what: Vec<String> = row.work.within(scope).map(GroupWork::doing).collect();
        let clock = plan.done_at(stop).with_timezone(&plan.crew.zone).format("%H:%M");
        let minutes = work_time(row.work.minutes(scope));
        Some(with_permission(format!("{clock} {}, {minutes}: {}", boat(row), what.join("; ")), row))
    });
    let mut lines = shortened(stops.collect());
    let left: Vec<String> = round
        .left_over
        .iter()
        .filter_map(|row| plan.rows.get(*row).filter(|row| own(&row.work.place)))
        .map(|row| format!("{} {}", row.boat.id, row.boat.name))
        .collect();
    if !left.is_empty() {
        lines.push(format!(
            "DOES NOT FIT into today's hours: {}. Call for hands, or ask these owners",
            shortened(left).join(", ")
        ));
    }
    lines
}

/// The complete lay-ups that end today by the plan, at the places that `own` names.
#[must_use]
pub fn today(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> Vec<String> {
    let rows = plan.rows.iter().filter(|row| row.done_on == Some(0) && own(&row.work.place));
    let line =
        |row: &Row| with_permission(format!("{}, {}", boat(row), work_time(row.crew_minutes)), row);
    shortened(rows.map(line).collect())
}

/// Litres by product, in words.
#[must_use]
pub fn litres(products: &BTreeMap<String, f64>) -> String {
    let parts: Vec<String> =
        products.iter().map(|(name, litres)| format!("{litres:.1} L {name}")).collect();
    parts.join(", ")
}

fn boat(row: &Row) -> String {
    let at = [row.work.place.as_str(), row.boat.location.as_str()].join(" ");
    format!("{}: {} {}", at.trim_end(), row.boat.id, row.boat.name)
}

fn with_permission(line: String, row: &Row) -> String {
    match permission(row) {
        "" => line,
        ask => format!("{line} - {ask}"),
    }
}

fn shortened(mut lines: Vec<String>) -> Vec<String> {
    let more = lines.len().saturating_sub(LINES_MAX);
    if more > 0 {
        lines.truncate(LINES_MAX);
        lines.push(format!("and {more} more: rimeward plan"));
    }
    lines
}
