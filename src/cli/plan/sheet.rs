//! The plan as a table: one row for each group of work.

use super::{Refusal, permission, record_lines};
use crate::domain::boat::Care;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::group::GroupWork;
use crate::service::planning::lines::left_over;
use crate::service::planning::{Row, YardPlan};

/// Comma-separated text with a header line. Texts that a spreadsheet would run as a formula are quoted with an apostrophe.
pub(super) fn csv(plan: &YardPlan) -> Result<String, Refusal> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: csv::Error| Refusal::failed(format!("writing the table: {error}"));
    writer
        .write_record([
            "place",
            "boat",
            "name",
            "visit",
            "location",
            "group",
            "circuits",
            "minutes",
            "emergency_minutes",
            "last_day",
            "latest_start",
            "drained_tonight",
            "done_on",
            "note",
            "saves_per_hour",
            "product",
            "litres",
            "permission",
            "record",
        ])
        .map_err(failed)?;
    let date = |day: Option<usize>| {
        day.and_then(|day| plan.date(day)).map_or_else(String::new, |date| date.to_string())
    };
    let left: Vec<&Row> = left_over(plan);
    for row in plan.rows.iter().chain(&plan.owners) {
        for group in &row.work.groups {
            let circuits: Vec<&str> = group.open.iter().map(|o| o.circuit.as_str()).collect();
            let (product, litres) = group.product.clone().unzip();
            writer
                .write_record([
                    harmless(row.place().as_str()),
                    harmless(row.boat.id.as_str()),
                    harmless(&row.boat.name),
                    row.visit.to_string(),
                    harmless(row.location()),
                    group.group.clone(),
                    circuits.join(";"),
                    group.minutes.complete.to_string(),
                    group.minutes.emergency.to_string(),
                    date(group.last_day),
                    date(row.latest_start),
                    if row.is_drained_tonight(group) { "yes" } else { "no" }.to_owned(),
                    date(row.done_on),
                    note(row, group, left.iter().any(|left| std::ptr::eq(*left, row))),
                    format!("{:.0}", row.saves_per_hour),
                    product.unwrap_or_default(),
                    litres.map_or_else(String::new, |litres: f64| litres.to_string()),
                    permission(row).to_owned(),
                    record_lines(row, group, Scope::Complete).join(" ; "),
                ])
                .map_err(failed)?;
        }
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| Refusal::failed(format!("writing the table: {error}")))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// What sets a line apart from the crew's ordinary work.
fn note(row: &Row, group: &GroupWork, is_left_over: bool) -> String {
    let mut notes = Vec::new();
    if row.boat.care == Care::Owner {
        notes.push("owner's own".to_owned());
    }
    if let Some(skill) = &group.barred {
        notes.push(format!("needs {skill}: nobody of this crew"));
    }
    if group.solid {
        notes.push("frozen: not before it has thawed and been tested".to_owned());
    }
    if is_left_over {
        notes.push("its drain DOES NOT FIT tonight".to_owned());
    }
    if row.is_late() {
        notes.push("LATE".to_owned());
    }
    notes.join("; ")
}

fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
