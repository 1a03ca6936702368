//! The plan as a table: one row for each group of work.

use super::{Refusal, permission, record_lines};
use crate::domain::risk::plan::boat::Scope;
use crate::service::planning::YardPlan;

/// Comma-separated text with a header line. Texts that a spreadsheet would run as a formula are quoted with an apostrophe.
pub(super) fn csv(plan: &YardPlan) -> Result<String, Refusal> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: csv::Error| Refusal::failed(format!("writing the table: {error}"));
    writer
        .write_record([
            "place",
            "boat",
            "name",
            "location",
            "group",
            "circuits",
            "minutes",
            "emergency_minutes",
            "last_day",
            "latest_start",
            "drained_tonight",
            "done_on",
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
    for row in &plan.rows {
        for group in &row.work.groups {
            let circuits: Vec<&str> = group.open.iter().map(|o| o.circuit.as_str()).collect();
            let (product, litres) = group.product.clone().unzip();
            writer
                .write_record([
                    harmless(row.work.place.as_str()),
                    harmless(row.boat.id.as_str()),
                    harmless(&row.boat.name),
                    harmless(&row.boat.location),
                    group.group.clone(),
                    circuits.join(";"),
                    group.minutes.complete.to_string(),
                    group.minutes.emergency.to_string(),
                    date(group.last_day),
                    date(row.latest_start),
                    if row.is_drained_tonight(group) { "yes" } else { "no" }.to_owned(),
                    date(row.done_on),
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

fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
