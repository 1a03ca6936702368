//! The manager's letter of the morning: what to do first, where, how long, and by when.

mod lines;

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::block::Group;
use super::phrases::Table;
use super::voice::{Voice, boat_name, credit_words, is_corrected, object};
use super::words::{count, day, one_line, to_five_minutes, work, zone_name};
use super::{Context, Draft, Email, MessageError, cautions, finish, identity};
use crate::domain::alert::Low;
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::units::TemperatureScale;
use crate::domain::weather::ForecastState;
use crate::domain::weather::credit;
use crate::domain::weather::measured::Measured;
use crate::domain::weather::official::Official;
use crate::domain::yard::Site;

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

/// A place on the worklist.
#[derive(Clone)]
pub struct PlaceLine<'a> {
    /// Which.
    pub site: &'a Site,
    /// The low to come; `None` where it cannot be said.
    pub low: Option<&'a Low>,
    /// When its forecast was issued.
    pub issued_at: Option<DateTime<Utc>>,
    /// Whether that can be relied on.
    pub forecast: ForecastState,
    /// Which services it is from, as `nws-gridpoint+met-norway`; empty where there is none.
    pub service: &'a str,
    /// What a station nearby says now.
    pub measured: Option<&'a Measured>,
    /// Fresh snow to come until the horizon, cm, and when the last of it falls.
    pub snow: Option<(f64, DateTime<Utc>)>,
    /// Official notices of cold in force, and whether our own forecast shows nothing of them.
    pub official: Vec<(Official, bool)>,
}

/// A boat on the worklist.
#[derive(Clone, Copy)]
pub struct WorklistBoat<'a> {
    /// Which.
    pub boat: &'a Boat,
    /// Its record.
    pub state: &'a BoatState,
    /// Where it stands.
    pub site: &'a Site,
    /// Its rows, the most pressing first.
    pub rows: &'a [CircuitRisk],
    /// How things stand with its people, such as `owner told Wed 08:00`; may be empty.
    pub remark: &'a str,
}

/// Something that cannot be judged, and why. It is never left out and never shown as harmless.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CannotSay {
    /// A boat or place.
    pub what: String,
    /// Why not.
    pub why: String,
}

/// An alert that ended since the last worklist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverLine {
    /// The boat's name.
    pub boat: String,
    /// The place's name.
    pub place: String,
    /// The record says done.
    pub done: bool,
    /// Parts are past their limit by our reckoning.
    pub passed: bool,
    /// It is not followed any more: the boat is in no less danger for that.
    pub dropped: bool,
    /// It was taken back, as issued in error.
    pub cancelled: bool,
}

/// A letter to an owner that waits for the yard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldLine {
    /// The owner's name.
    pub owner: String,
    /// The boat's name.
    pub boat: String,
    /// The letter's subject.
    pub subject: String,
    /// When it goes by itself.
    pub goes: DateTime<Utc>,
}

/// The crew's plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CrewLines {
    /// By which day to start, in a few sentences.
    pub headline: String,
    /// Tonight's emergency drains in walking order, a line each.
    pub round: Vec<String>,
    /// Boats and minutes of those drains, such as `7 boats, 1 h 37 min`; empty where there are none.
    pub round_work: String,
    /// Litres to have on the cart tonight, by product; may be empty.
    pub cart: String,
    /// The complete lay-ups that end today, a line each.
    pub today: Vec<String>,
    /// Litres to have for the lay-ups of the week, by product; may be empty.
    pub order: String,
    /// Jobs that nobody of the crew may do, a line each.
    pub outside: Vec<String>,
    /// What of it has to stand in the subject; empty where nothing presses.
    pub subject: String,
}

/// What the worklist is made of, in the order of the worklist.
#[derive(Clone, Copy)]
pub struct Worklist<'a> {
    /// The instant it is for.
    pub at: DateTime<Utc>,
    /// End of the horizon of its chances.
    pub until: DateTime<Utc>,
    /// The places, all of them.
    pub places: &'a [PlaceLine<'a>],
    /// The boats with rows, in order. Rows of priority `notice` are counted, not listed.
    pub boats: &'a [WorklistBoat<'a>],
    /// What cannot be judged.
    pub cannot_say: &'a [CannotSay],
    /// What ended since the last one, of what this reader had been told.
    pub over: &'a [OverLine],
    /// Letters to owners that wait for this reader.
    pub held: &'a [HeldLine],
    /// What the crew is to do; `None` where there is no plan.
    pub plan: Option<&'a CrewLines>,
    /// Head of the log's chain, where one is kept.
    pub log_head: Option<&'a str>,
}

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
