//! The plan in single lines, for the morning's letter: tonight's round and today's complete lay-ups.

use std::collections::BTreeMap;

use super::{Hands, Row, YardPlan};
use crate::domain::boat::{DrainPermission, SiteId};
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::tonight::Stop;
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

/// How pressing a stop of tonight's round is; empty where it only has to be done by the evening.
#[must_use]
pub fn pressing(row: &Row, stop: &Stop) -> &'static str {
    let ice = row.urgent.is_some_and(|scope| row.work.within(scope).any(|group| group.ice));
    match (ice, stop.late) {
        (true, _) => "ICE HAS BEGUN",
        (false, true) => "MAY FREEZE BEFORE",
        (false, false) => "",
    }
}

/// Whose hours the round takes, where they are not the crew's of today.
#[must_use]
pub const fn hands(plan: &YardPlan) -> &'static str {
    match plan.hands {
        Hands::OnRoster => "",
        Hands::DayOver => {
            "Today's hours are over: somebody has to stay or come back. After dark two people, with lamps; nobody alone on a ladder."
        }
        Hands::Nobody => {
            "Nobody is on the roster today: call somebody in for these, two together after dark."
        }
    }
}

/// Boats of tonight's round that do not fit.
#[must_use]
pub fn left_over(plan: &YardPlan) -> Vec<&Row> {
    let rows = plan.tonight.iter().flat_map(|round| &round.left_over);
    rows.filter_map(|row| plan.rows.get(*row)).collect()
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
        let mark = match pressing(row, stop) {
            "" => String::new(),
            mark => format!(", {mark}"),
        };
        let line = format!("{clock} {}, {minutes}{mark}: {}", boat(row), what.join("; "));
        Some(with_permission(line, row))
    });
    let mut lines = shortened(stops.collect());
    let left: Vec<String> = left_over(plan)
        .into_iter()
        .filter(|row| own(&row.work.place))
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
