//! The manager's letter of the morning: what to do first, where, how long, and by when.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::block::Group;
use super::rollup::{BoatLine, boat_row};
use super::voice::{Voice, object};
use super::words::{count, day, one_line, to_five_minutes, work, zone_name};
use super::{Context, Draft, Letter, MessageError, cautions, finish, identity};
use crate::domain::alert::Low;
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::weather::ForecastState;
use crate::domain::yard::Site;

/// A place on the worklist.
#[derive(Clone, Copy)]
pub struct PlaceLine<'a> {
    /// Which.
    pub site: &'a Site,
    /// The low to come; `None` where it cannot be said.
    pub low: Option<&'a Low>,
    /// When its forecast was issued.
    pub issued_at: Option<DateTime<Utc>>,
    /// Whether that can be relied on.
    pub forecast: ForecastState,
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
    /// By which day the crew has to start, in a sentence; `None` where there is no plan.
    pub plan: Option<&'a str>,
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
) -> Result<Letter, MessageError> {
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
    let (mut table, mut so_far) = (Vec::new(), 0.0);
    let mut rules = BTreeSet::from(["always"]);
    for (index, (entry, rows)) in pressing.iter().enumerate() {
        so_far += rows.iter().map(|row| row.minutes.max(0.0)).sum::<f64>();
        rules.extend(cautions::for_work(entry.boat, entry.state, entry.site, rows));
        let remark = one_line(entry.remark, 80);
        let remarks: Vec<String> = (!remark.is_empty()).then_some(remark).into_iter().collect();
        table.push(boat_row(
            &voice,
            index.saturating_add(1),
            &BoatLine {
                boat: entry.boat,
                state: entry.state,
                site: entry.site,
                rows,
                now: worklist.at,
                with_place: true,
                remarks: &remarks,
                so_far: Some(so_far),
            },
        ));
    }
    let start =
        pressing.iter().flat_map(|(_, rows)| rows.iter().filter_map(|row| row.latest_start)).min();
    let words = words(&voice, worklist, pressing.len(), notices, so_far, start);
    let table = if table.is_empty() { Vec::new() } else { vec![Group { name: None, rows: table }] };
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

fn words(
    voice: &Voice<'_>,
    worklist: &Worklist<'_>,
    boats: usize,
    notices: usize,
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
            voice.place(place.site, low, place.issued_at, degraded)
        })
        .collect();
    let cannot_say: Vec<Value> = worklist
        .cannot_say
        .iter()
        .map(|entry| json!({"what": one_line(&entry.what, 80), "why": one_line(&entry.why, 160)}))
        .collect();
    object(vec![vec![
        ("day", json!(day(worklist.at, voice.zone))),
        ("at", json!(voice.time(worklist.at))),
        ("until", json!(voice.time(worklist.until))),
        ("zone", json!(zone_name(worklist.at, voice.zone))),
        ("boats", json!(boats)),
        ("count", json!(count(boats, "boat"))),
        ("work", json!(work(minutes))),
        (
            "start",
            json!(start.filter(|at| *at > worklist.at).map(|at| voice.soon(to_five_minutes(at)))),
        ),
        ("late", json!(start.is_some_and(|at| at <= worklist.at))),
        ("blind_count", json!((blind > 0).then(|| count(blind, "place")))),
        ("notices", json!((notices > 0).then(|| count(notices, "boat")))),
        ("plan", json!(worklist.plan.map(|plan| one_line(plan, 400)))),
        ("places", Value::Array(places)),
        ("cannot_say", Value::Array(cannot_say)),
        ("log_head", json!(worklist.log_head.map(|head| one_line(head, 80)))),
    ]])
}
