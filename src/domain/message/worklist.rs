//! The manager's letter of the morning: what to do first, where, how long, and by when.

mod lines;
mod input;

pub use input::{CannotSay, CrewLines, HeldLine, OverLine, PlaceLine, Worklist, WorklistBoat};
use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::block::Group;
use super::phrases::Table;
use super::voice::{Voice, boat_name, credit_words, is_corrected, object};
use super::words::{count, day, one_line, to_five_minutes, work, zone_name};
use super::{Context, Draft, Email, MessageError, cautions, finish, identity};
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::units::TemperatureScale;
use crate::domain::weather::official::Official;
use crate::domain::weather::{ForecastState, credit};

/// Less fresh snow than this hinders nobody, cm.
const SNOW_CM_TOLD: f64 = 5.0;
/// Letters of what cannot be said: many boats stand in one line.
const CANNOT_LETTERS: usize = 2000;

/// Letters of the head of the crew's plan.
const HEADLINE_LETTERS: usize = 1500;
/// Letters of one line of the crew's plan: all that is to be done on a boat.
const CREW_LETTERS: usize = 900;
/// Letters of litres by product.
const PRODUCTS_LETTERS: usize = 400;

/// Longest name of an official notice.
const EVENT_LETTERS: usize = 60;
/// Longest identifier of a station.
const STATION_LETTERS: usize = 12;

/// Writes the worklist to one manager.
///
/// # Errors
/// As [`super::compose`].
pub fn compose_worklist(
    worklist: &Worklist<'_>,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let voice = Voice::of(context, worklist.at);
    let pressing: Vec<(&WorklistBoat<'_>, Vec<CircuitRisk>)> = worklist
        .boats
        .iter()
        .map(|entry| {
            let rows = entry.rows.iter().filter(|row| row.priority > Priority::Notice);
            (entry, rows.cloned().collect())
        })
        .collect();
    let notices = pressing.iter().filter(|(_, rows)| rows.is_empty()).count();
    let pressing: Vec<_> = pressing.into_iter().filter(|(_, rows)| !rows.is_empty()).collect();
    let (mut to_do, mut frozen, mut so_far) = (Vec::new(), Vec::new(), 0.0);
    let mut rules = BTreeSet::from(["always"]);
    let mut start: Option<DateTime<Utc>> = None;
    for (entry, rows) in &pressing {
        rules.extend(cautions::for_work(entry.boat, entry.state, entry.site, rows));
        let (past, ahead): (Vec<_>, Vec<_>) = rows.iter().cloned().partition(|row| row.frozen_now);
        if ahead.is_empty() {
            frozen.push((entry, past));
            continue;
        }
        so_far += ahead.iter().map(|row| row.minutes.max(0.0)).sum::<f64>();
        start = ahead.iter().filter_map(|row| row.latest_start).chain(start).min();
        let number = to_do.len().saturating_add(1);
        to_do.push(lines::to_do(&voice, number, entry, (&ahead, &past), worklist.at, so_far));
    }
    let counts = Counts { to_do: to_do.len(), frozen: frozen.len(), notices };
    let words = words(&voice, worklist, counts, so_far, start);
    let frozen: Vec<_> = frozen
        .iter()
        .enumerate()
        .map(|(index, (entry, rows))| {
            let number = counts.to_do.saturating_add(index).saturating_add(1);
            lines::frozen(&voice, number, entry, rows)
        })
        .collect();
    let mut table = Vec::new();
    if !to_do.is_empty() {
        table.push(Group { name: None, rows: to_do });
    }
    if !frozen.is_empty() {
        table.push(Group { name: Some(voice.word(Table::Remark, "frozen_group")), rows: frozen });
    }
    let ids = identity::of_round(
        "worklist",
        worklist.at,
        context.person.id.as_str(),
        context.key,
        &context.sender.domain,
    );
    let draft = Draft { words, cautions: rules, table, shorten: None };
    finish("worklist", &draft, ids, "worklist", false, context)
}

/// Boats of each sort.
#[derive(Clone, Copy)]
struct Counts {
    to_do: usize,
    frozen: usize,
    notices: usize,
}

fn words(
    voice: &Voice<'_>,
    worklist: &Worklist<'_>,
    Counts { to_do: boats, frozen, notices }: Counts,
    minutes: f64,
    start: Option<DateTime<Utc>>,
) -> Value {
    let blind =
        worklist.places.iter().filter(|place| place.forecast == ForecastState::Blind).count();
    let places: Vec<Value> = worklist
        .places
        .iter()
        .map(|place| {
            let seen = place.forecast != ForecastState::Blind;
            let low = place.low.filter(|_| seen);
            let degraded = place.forecast == ForecastState::Degraded;
            let mut line = voice.place(place.site, low, place.issued_at, degraded);
            let reading = place.measured;
            let air = reading.and_then(|reading| reading.step.temperature_c);
            if let Some(fields) = line.as_object_mut() {
                let station = reading.map(|reading| one_line(&reading.station, STATION_LETTERS));
                let time = reading.map(|reading| voice.soon(reading.step.time));
                fields.insert("measured".into(), json!(air.map(|c| voice.temperature(c))));
                fields.insert("station".into(), json!(station));
                fields.insert("measured_at".into(), json!(time));
                let snow = place.snow.filter(|(cm, _)| seen && *cm >= SNOW_CM_TOLD);
                fields.insert("snow".into(), json!(snow.map(|(cm, _)| depth(cm, voice.scale))));
                fields.insert("snow_by".into(), json!(snow.map(|(_, by)| voice.soon(by))));
                let notice = |(notice, not_shown): &(Official, bool)| {
                    json!({
                        "event": one_line(&notice.event, EVENT_LETTERS),
                        "office": one_line(&notice.office, EVENT_LETTERS),
                        "from": (notice.onset > worklist.at).then(|| voice.soon(notice.onset)),
                        "until": voice.soon(notice.ends),
                        "not_shown": not_shown,
                    })
                };
                fields.insert("official".into(), place.official.iter().map(notice).collect());
            }
            line
        })
        .collect();
    let cannot_say: Vec<Value> = worklist
        .cannot_say
        .iter()
        .map(|entry| json!({"what": one_line(&entry.what, 80), "why": one_line(&entry.why, CANNOT_LETTERS)}))
        .collect();
    object(vec![vec![
        ("day", json!(day(worklist.at, voice.zone))),
        ("at", json!(voice.time(worklist.at))),
        ("until", json!(voice.time(worklist.until))),
        ("zone", json!(zone_name(worklist.at, voice.zone))),
        ("boats", json!(boats)),
        ("count", json!(count(boats, "boat"))),
        ("frozen_count", json!((frozen > 0).then(|| count(frozen, "boat")))),
        ("issued", json!(issued(voice, worklist))),
        ("service", json!(credit::names(services(worklist)))),
        ("credit", credit_words(services(worklist))),
        ("corrected", json!(is_corrected(services(worklist)))),
        ("work", json!(work(minutes))),
        (
            "start",
            json!(start.filter(|at| *at > worklist.at).map(|at| voice.soon(to_five_minutes(at)))),
        ),
        ("late", json!(start.is_some_and(|at| at <= worklist.at))),
        ("blind_count", json!((blind > 0).then(|| count(blind, "place")))),
        ("notices", json!((notices > 0).then(|| count(notices, "boat")))),
        ("plan", json!(worklist.plan.map(|plan| one_line(&plan.headline, HEADLINE_LETTERS)))),
        ("crew", json!(worklist.plan.map_or("", |plan| plan.subject.as_str()))),
        ("round", lines_of(worklist.plan.map(|plan| plan.round.as_slice()))),
        ("round_work", json!(of_the_plan(worklist, |plan| &plan.round_work))),
        ("cart", json!(of_the_plan(worklist, |plan| &plan.cart))),
        ("order", json!(of_the_plan(worklist, |plan| &plan.order))),
        ("outside", lines_of(worklist.plan.map(|plan| plan.outside.as_slice()))),
        ("today", lines_of(worklist.plan.map(|plan| plan.today.as_slice()))),
        ("places", Value::Array(places)),
        ("cannot_say", Value::Array(cannot_say)),
        ("over", Value::Array(worklist.over.iter().map(over).collect())),
        (
            "held",
            Value::Array(
                worklist
                    .held
                    .iter()
                    .map(|line| {
                        json!({
                            "owner": one_line(&line.owner, 60),
                            "boat": boat_name(&line.boat),
                            "subject": one_line(&line.subject, 80),
                            "goes": voice.soon(line.goes),
                        })
                    })
                    .collect(),
            ),
        ),
        ("log_head", json!(worklist.log_head.map(|head| one_line(head, 80)))),
    ]])
}

/// `5 in (12 cm)`: the reader's own first, nothing finer than a forecast of snow is good for.
fn depth(cm: f64, scale: TemperatureScale) -> String {
    let (metric, inches) = (format!("{cm:.0} cm"), format!("{:.0} in", cm / 2.54));
    match scale {
        TemperatureScale::F => format!("{inches} ({metric})"),
        TemperatureScale::C => format!("{metric} ({inches})"),
    }
}

/// A line of the plan, where it has one.
fn of_the_plan<'a>(
    worklist: &Worklist<'a>,
    which: impl Fn(&'a CrewLines) -> &'a String,
) -> Option<String> {
    let line = one_line(which(worklist.plan?), PRODUCTS_LETTERS);
    (!line.is_empty()).then_some(line)
}

fn lines_of(lines: Option<&[String]>) -> Value {
    let lines = lines.unwrap_or_default().iter();
    Value::Array(lines.map(|line| json!({ "line": one_line(line, CREW_LETTERS) })).collect())
}

/// What the phrase of a line that ended reads, in the worklist and in the letter of many boats.
pub(super) fn over(line: &OverLine) -> Value {
    json!({
        "boat": boat_name(&line.boat),
        "place": one_line(&line.place, 60),
        "done": line.done,
        "passed": line.passed,
        "dropped": line.dropped,
        "cancelled": line.cancelled,
    })
}

/// The issue times of the forecasts that could be relied on, oldest and newest.
fn services<'a>(worklist: &'a Worklist<'_>) -> impl Iterator<Item = &'a str> {
    let seen = worklist.places.iter().filter(|place| place.forecast != ForecastState::Blind);
    seen.map(|place| place.service)
}

fn issued(voice: &Voice<'_>, worklist: &Worklist<'_>) -> Option<String> {
    let seen = worklist.places.iter().filter(|place| place.forecast != ForecastState::Blind);
    let issued: Vec<DateTime<Utc>> = seen.filter_map(|place| place.issued_at).collect();
    let (oldest, newest) = (issued.iter().min()?, issued.iter().max()?);
    let (from, to) = (voice.time(*oldest), voice.time(*newest));
    Some(if from == to { from } else { format!("{from} to {to}") })
}
