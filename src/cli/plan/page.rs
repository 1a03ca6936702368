//! The plan as a page to print, carry and type back: a box for each group of work, with the words that write it into the log.

use minijinja::{AutoEscape, Environment, context};
use serde::Serialize;

use super::entries::record_lines;
use super::{CliError, below, beside, text};
use crate::app::planning::lines::{self as planned, litres};
use crate::app::planning::{Row, WhatIf, YardPlan};
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::group::GroupWork;

const TEMPLATE: &str = include_str!("../../../config/catalogue/plan.html");
/// Days of complete lay-ups that are printed.
const DAYS_PRINTED: usize = 7;

#[derive(Serialize)]
struct Part {
    title: String,
    /// What is only named, each on a line.
    named: Vec<String>,
    rows: Vec<Line>,
}

impl Part {
    fn of(title: impl Into<String>, rows: Vec<Line>) -> Self {
        Self { title: title.into(), named: Vec::new(), rows }
    }

    fn naming(title: &str, named: Vec<String>) -> Option<Self> {
        (!named.is_empty()).then(|| Self { title: title.into(), named, rows: Vec::new() })
    }
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
    /// Before a test of it counts.
    asks: String,
}

/// The page; every text of the yard is escaped.
pub(super) fn html(plan: &YardPlan, yard: &str, what_if: &WhatIf) -> Result<String, CliError> {
    let mut parts = Vec::new();
    parts.extend(Part::naming(beside::ICE_BEGUN, beside::frozen(plan, true)));
    if let Some(round) = &plan.tonight {
        let zone = plan.crew.zone;
        let remark = |row: &Row, stop| {
            let clock = plan.done_at(stop).with_timezone(&zone).format("about %H:%M").to_string();
            [clock.as_str(), planned::pressing(row, stop)].join(" ").trim_end().to_owned()
        };
        let mut rows = Vec::new();
        for stop in &round.stops {
            let Some(row) = plan.rows.get(stop.job) else { continue };
            rows.extend(
                row.urgent
                    .into_iter()
                    .flat_map(|scope| lines(plan, row, scope, &remark(row, stop))),
            );
        }
        let hands = planned::hands(plan);
        let gap = if hands.is_empty() { "" } else { ". " };
        let title = format!("Tonight: emergency drains, in walking order{gap}{hands}");
        parts.push(Part::of(title, rows));
        // What is not on the page is taken for done with.
        let left = planned::left_over(plan).into_iter();
        let rows: Vec<Line> = left
            .filter_map(|row| Some((row, row.urgent?)))
            .flat_map(|(row, scope)| lines(plan, row, scope, "DOES NOT FIT"))
            .collect();
        if !rows.is_empty() {
            let parties = planned::parties(plan);
            let title = format!("Does not fit tonight. {parties}Call for hands");
            parts.push(Part::of(title, rows));
        }
    }
    let owners: Vec<Line> = plan
        .owners_tonight()
        .filter_map(|row| Some((row, row.urgent?)))
        .flat_map(|(row, scope)| lines(plan, row, scope, "OWNER'S OWN, not confirmed"))
        .collect();
    if !owners.is_empty() {
        parts.push(Part::of(planned::OWNERS, owners));
    }
    parts.extend(Part::naming(beside::FROZEN, beside::frozen(plan, false)));
    for (number, day) in plan.days.iter().enumerate().take(DAYS_PRINTED) {
        let rows: Vec<&Row> =
            plan.rows.iter().filter(|row| row.listed_on() == Some(number)).collect();
        if !rows.is_empty() {
            let title = format!("Complete lay-ups to begin on {}", day.date.format("%A %-d %B"));
            parts.push(Part::of(title, complete(plan, rows)));
        }
    }
    let rest: Vec<&Row> = plan
        .rows
        .iter()
        .filter(|row| row.listed_on().is_none_or(|day| day >= DAYS_PRINTED))
        .collect();
    if !rest.is_empty() {
        parts.push(Part::of("Later, or not within the days looked at", complete(plan, rest)));
    }
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    let wrong = |error: minijinja::Error| CliError::failed(format!("writing the page: {error}"));
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
                at_once => beside::at_once(plan),
                others => beside::not_for_the_crew(plan),
                order => litres(&plan.order),
                supposed => text::supposed(what_if),
                below => below::lines(plan),
                spring => beside::spring(plan),
            },
        )
        .map_err(wrong)
}

fn complete(plan: &YardPlan, rows: Vec<&Row>) -> Vec<Line> {
    rows.into_iter().flat_map(|row| lines(plan, row, Scope::Complete, "")).collect()
}

fn lines(plan: &YardPlan, row: &Row, scope: Scope, clock: &str) -> Vec<Line> {
    let groups = row.work.within(scope);
    groups
        .enumerate()
        .map(|(number, group)| Line {
            place: row.place().to_string(),
            location: row.location().to_owned(),
            boat: row.boat.id.to_string(),
            name: row.boat.name.clone(),
            what: [format!("{}: {}", group.label, group.doing()), takes(group, scope)]
                .into_iter()
                .filter(|part| !part.is_empty())
                .collect::<Vec<_>>()
                .join(" - take "),
            record: record_lines(row, group, scope),
            minutes: match scope {
                Scope::Complete => group.minutes.complete,
                Scope::Emergency(_) => group.minutes.emergency,
            },
            remarks: match (number, scope) {
                (0, Scope::Complete) => {
                    let key = row.boat.key_code().map(|code| format!("key {code}"));
                    [Some(text::due_in_words(plan, row)), Some(text::reason(plan, row)), key]
                        .into_iter()
                        .flatten()
                        .filter(|part| !part.is_empty())
                        .collect::<Vec<_>>()
                        .join("; ")
                }
                (0, Scope::Emergency(_)) => {
                    let parts = [clock.to_owned(), planned::aboard(row)];
                    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
                }
                _ => String::new(),
            },
            asks: group.asks(),
        })
        .collect()
}

/// Product and litres that this work takes.
fn takes(group: &GroupWork, scope: Scope) -> String {
    match scope {
        Scope::Complete => text::products(group),
        Scope::Emergency(_) => {
            let doses = group.doses.iter().map(|(name, litres)| format!("{litres} L {name}"));
            doses.collect::<Vec<_>>().join(", ")
        }
    }
}
