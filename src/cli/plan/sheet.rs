//! The plan as a table: one row for each group of work.

use super::entries::record_lines;
use super::{CliError, permission};
use crate::app::planning::lines::left_over;
use crate::app::planning::{Row, WhatIf, YardPlan};
use crate::domain::boat::Care;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::words::boats as boats_in_words;

/// Columns of the table, and the place of the note among them.
const COLUMNS: usize = 20;
const NOTE: usize = 13;

/// Comma-separated text with a header line. Texts that a spreadsheet would run as a formula are quoted with an apostrophe.
pub(super) fn csv(plan: &YardPlan, what_if: &WhatIf) -> Result<String, CliError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: csv::Error| CliError::failed(format!("writing the table: {error}"));
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
            "what_if",
        ])
        .map_err(failed)?;
    let date = |day: Option<usize>| {
        day.and_then(|day| plan.date(day)).map_or_else(String::new, |date| date.to_string())
    };
    let left: Vec<&Row> = left_over(plan);
    let supposed = super::text::supposed(what_if);
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
                    supposed.clone(),
                ])
                .map_err(failed)?;
        }
    }
    // What nothing can be planned for stands in the table too: a table without it would look calm.
    let mut bare = |place: &str, boat: (&str, &str), location: &str, note: String| {
        let mut fields = vec![harmless(place), harmless(boat.0), harmless(boat.1), String::new()];
        fields.push(harmless(location));
        fields.resize(NOTE, String::new());
        fields.push(note);
        fields.resize(COLUMNS - 1, String::new());
        fields.push(supposed.clone());
        writer.write_record(fields).map_err(failed)
    };
    for (site, boats) in &plan.cannot_say {
        let note =
            format!("CANNOT SAY: no usable forecast; {} not in this plan", boats_in_words(*boats));
        bare(site.as_str(), ("", ""), "", note)?;
    }
    let planned = |id| plan.rows.iter().chain(&plan.owners).any(|row| row.boat.id == id);
    for one in plan.frozen.iter().filter(|one| !planned(one.boat.id.clone())) {
        let labels: Vec<&str> = one.circuits.iter().map(|circuit| circuit.label.as_str()).collect();
        let note = format!(
            "FROZEN, no thaw in sight: start nothing before it has thawed and been tested: {}",
            labels.join(", ")
        );
        let boat = (one.boat.id.as_str(), one.boat.name.as_str());
        bare(one.at.0.as_str(), boat, &one.at.1, note)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| CliError::failed(format!("writing the table: {error}")))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// What sets a line apart from the crew's ordinary work.
fn note(row: &Row, group: &GroupWork, is_left_over: bool) -> String {
    let mut notes = Vec::new();
    if row.boat.care == Care::Owner {
        let due = row.urgent.is_some_and(|scope| scope.reaches(group));
        let due = if due { ", due tonight and not confirmed: call" } else { "" };
        notes.push(format!("owner's own{due}"));
    }
    if let Some(skill) = &group.barred {
        notes.push(format!("needs {skill}: nobody of this crew"));
    }
    if group.refreezes_first {
        notes.push("may freeze again before the crew is back: somebody there when it thaws".into());
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
