//! The plan as a page to print, carry and type back: a box for each group of work, with the words that write it into the log.

use minijinja::{AutoEscape, Environment, context};
use serde::Serialize;

use super::{Refusal, permission, record_lines, text};
use crate::domain::risk::plan::boat::Scope;
use crate::service::planning::lines::litres;
use crate::service::planning::{Row, YardPlan};

const TEMPLATE: &str = include_str!("../../../config/catalogue/plan.html");
/// Days of complete lay-ups that are printed.
const DAYS_PRINTED: usize = 7;

#[derive(Serialize)]
struct Part {
    title: String,
    rows: Vec<Line>,
}

#[derive(Serialize)]
struct Line {
    place: String,
    location: String,
    boat: String,
    name: String,
    what: String,
    record: Vec<String>,
    minutes: u32,
    remarks: String,
}

/// The page; every text of the yard is escaped.
pub(super) fn html(plan: &YardPlan, yard: &str) -> Result<String, Refusal> {
    let mut parts = Vec::new();
    if let Some(round) = &plan.tonight {
        let zone = plan.crew.zone;
        let clock =
            |stop| plan.done_at(stop).with_timezone(&zone).format("about %H:%M").to_string();
        let rows =
            round.stops.iter().filter_map(|stop| Some((plan.rows.get(stop.job)?, clock(stop))));
        parts.push(Part {
            title: "Tonight: emergency drains, in walking order".into(),
            rows: rows
                .filter_map(|(row, clock)| Some((row, row.urgent?, clock)))
                .flat_map(|(row, scope, clock)| lines(plan, row, scope, &clock))
                .collect(),
        });
    }
    for (number, day) in plan.days.iter().enumerate().take(DAYS_PRINTED) {
        let rows: Vec<&Row> = plan.rows.iter().filter(|row| row.done_on == Some(number)).collect();
        if !rows.is_empty() {
            parts.push(Part {
                title: format!("Complete lay-ups to end on {}", day.date.format("%A %-d %B")),
                rows: rows
                    .into_iter()
                    .flat_map(|row| lines(plan, row, Scope::Complete, ""))
                    .collect(),
            });
        }
    }
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    let wrong = |error: minijinja::Error| Refusal::failed(format!("writing the page: {error}"));
    let at = plan.at.with_timezone(&plan.crew.zone).format("%A %-d %B %Y, %H:%M").to_string();
    environment
        .render_named_str(
            "plan.html",
            TEMPLATE,
            context! {
                yard => yard,
                at => at,
                headline => plan.headline.clone(),
                parts => minijinja::Value::from(minijinja::value::Serde(&parts)),
                carry => litres(&plan.cart),
                sources => plan.sources(),
                others => text::others(plan).lines().map(str::to_owned).collect::<Vec<_>>(),
                order => litres(&plan.order),
            },
        )
        .map_err(wrong)
}

fn lines(plan: &YardPlan, row: &Row, scope: Scope, clock: &str) -> Vec<Line> {
    let groups = row.work.within(scope);
    groups
        .enumerate()
        .map(|(number, group)| Line {
            place: row.work.place.to_string(),
            location: row.boat.location.clone(),
            boat: row.boat.id.to_string(),
            name: row.boat.name.clone(),
            what: format!("{}: {}", group.label, group.doing()),
            record: record_lines(row, group, scope),
            minutes: match scope {
                Scope::Complete => group.minutes.complete,
                Scope::Emergency(_) => group.minutes.emergency,
            },
            remarks: match (number, scope) {
                (0, Scope::Complete) => text::reason(plan, row),
                (0, Scope::Emergency(_)) => {
                    let parts = [clock, permission(row)];
                    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
                }
                _ => String::new(),
            },
        })
        .collect()
}
