//! One letter for many boats: what a manager or operator is told in one round, grouped by place, with minutes.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::block::{Group, Row};
use super::phrases::Table;
use super::voice::{
    Voice, boat_name, credit_words, is_corrected, key_of, location, object, place_name,
};
use super::words::{count, to_five_minutes, work, zone_name};
use super::worklist::{OverLine, over as over_line};
use super::{Context, Draft, Email, MessageError, cautions, compose, deeds, finish, identity};
use crate::domain::alert::{Act, Advice, CloseReason, Kind};
use crate::domain::boat::{Boat, BoatState, DrainPermission, Holds};
use crate::domain::risk::{CircuitRisk, Priority};
use crate::domain::weather::credit;
use crate::domain::yard::Site;

/// One advice of the round, with what its words need.
#[derive(Clone, Copy)]
pub struct RolledUp<'a> {
    /// What is told.
    pub advice: &'a Advice,
    /// The boat and its record; `None` for a place.
    pub boat: Option<(&'a Boat, &'a BoatState)>,
    /// The place.
    pub site: &'a Site,
}

/// Puts the notifications of one round to one person into one letter; a single one is written as [`compose`] does. All must
/// have the same recipient.
///
/// # Errors
/// As [`compose`]; [`MessageError::NoWords`] for an empty round.
pub fn compose_rollup(
    items: &[RolledUp<'_>],
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let Some(first) = items.first() else {
        return Err(MessageError::NoWords { alert: "an empty round".to_owned() });
    };
    if items.len() == 1 {
        let context = Context { site: first.site, ..*context };
        return compose(first.advice, first.boat, &context);
    }
    let now = items.iter().map(|item| item.advice.facts.at).max().unwrap_or(context.date);
    let voice = Voice::of(context, now);
    let boats = by_place(items);
    let table = groups(&voice, &boats);
    let mut rules = BTreeSet::from(["always"]);
    for (site, item) in boats.iter().flat_map(|(site, items)| items.iter().map(move |i| (site, i)))
    {
        if let Some((boat, state)) = item.boat {
            rules.extend(cautions::for_work(boat, state, site, item.advice.facts.active()));
        }
    }
    let words = object(vec![
        head_words(&voice, items, &boats),
        rest_words(&voice, items),
        vec![
            ("reader", json!(key_of(&context.person.role))),
            ("at", json!(voice.time(now))),
            ("zone", json!(zone_name(now, voice.zone))),
            ("issued", json!(issues(&voice, items))),
            ("service", json!(credit::names(services(items)))),
            ("credit", credit_words(services(items))),
            ("corrected", json!(is_corrected(services(items)))),
        ],
    ]);
    let ids = identity::of_round(
        "rollup",
        first.advice.rollup.as_ref().map_or(now, |key| key.round),
        context.person.id.as_str(),
        context.key,
        &context.sender.domain,
    );
    let urgent = items.iter().any(|item| {
        item.advice.facts.priority == Priority::High
            && !matches!(item.advice.act, Act::Close { .. })
    });
    let draft = Draft { words, cautions: rules, table, shorten: None };
    finish("rollup", &draft, ids, "freeze", urgent, context)
}

type ByPlace<'a, 'b> = Vec<(&'a Site, Vec<&'b RolledUp<'a>>)>;

/// Boats that need work, by place; the place and the boat that must be begun soonest come first.
fn by_place<'a, 'b>(items: &'b [RolledUp<'a>]) -> ByPlace<'a, 'b> {
    let mut work: Vec<&RolledUp<'a>> = items
        .iter()
        .filter(|item| item.advice.kind == Kind::Freeze)
        .filter(|item| !matches!(item.advice.act, Act::Close { .. }))
        .collect();
    work.sort_by_key(|item| item.advice.facts.latest_start);
    let mut places: ByPlace<'a, 'b> = Vec::new();
    for item in work {
        match places.iter_mut().find(|(site, _)| site.id == item.site.id) {
            Some((_, boats)) => boats.push(item),
            None => places.push((item.site, vec![item])),
        }
    }
    places
}

fn groups(voice: &Voice<'_>, places: &ByPlace<'_, '_>) -> Vec<Group> {
    let mut number = 0_usize;
    let mut groups = Vec::new();
    for (site, items) in places {
        let minutes: f64 = items.iter().map(|item| item.advice.facts.minutes).sum();
        let mut rows = Vec::new();
        for item in items {
            let Some((boat, state)) = item.boat else { continue };
            number = number.saturating_add(1);
            let facts = &item.advice.facts;
            let changed = match &item.advice.act {
                Act::Update { worse } => {
                    worse.iter().map(|worse| voice.change(worse)).collect::<Vec<_>>()
                }
                _ => Vec::new(),
            };
            let mut changed: Vec<String> = changed;
            changed.extend(item.advice.owner_hears.map(|at| {
                voice.word(Table::Remark, "owner_hears").replace("{at}", &voice.soon(at))
            }));
            rows.push(boat_row(
                voice,
                number,
                &BoatLine {
                    boat,
                    state,
                    site,
                    rows: facts.active(),
                    now: facts.at,
                    remarks: &changed,
                },
            ));
        }
        let name =
            format!("{}: {}, {}", place_name(site), count(rows.len(), "boat"), work(minutes));
        groups.push(Group { name: Some(name), rows });
    }
    groups
}

fn head_words(
    voice: &Voice<'_>,
    items: &[RolledUp<'_>],
    boats: &ByPlace<'_, '_>,
) -> Vec<(&'static str, Value)> {
    let work_items = || boats.iter().flat_map(|(_, items)| items.iter());
    let minutes: f64 = work_items().map(|item| item.advice.facts.minutes).sum();
    let start = work_items().filter_map(|item| item.advice.facts.latest_start).min();
    let late = start.is_some_and(|start| start <= voice.now)
        || work_items().any(|item| {
            let facts = &item.advice.facts;
            facts.latest_start.is_none() && facts.active().iter().any(|row| !row.frozen_now)
        });
    let low = work_items()
        .filter_map(|item| item.advice.facts.low)
        .map(|low| low.median_c)
        .reduce(f64::min);
    let total = work_items().count();
    let over = |item: &&RolledUp<'_>| matches!(item.advice.act, Act::Close { .. });
    let freeze = |item: &&RolledUp<'_>| item.advice.kind == Kind::Freeze;
    let over_count = items.iter().filter(freeze).filter(over).count();
    let blind = items.iter().filter(|item| !freeze(item)).filter(|item| !over(item)).count();
    let seeing = items.iter().filter(|item| !freeze(item)).filter(over).count();
    vec![
        ("boats", json!(total)),
        ("boats_count", json!(count(total, "boat"))),
        ("places_count", json!(count(boats.len(), "place"))),
        ("work", json!(work(minutes))),
        ("late", json!(late)),
        ("start", json!(start.filter(|_| !late).map(|start| voice.soon(to_five_minutes(start))))),
        ("low", json!(low.map(|low| voice.temperature(low)))),
        ("over_count", json!((over_count > 0).then(|| count(over_count, "freeze alert")))),
        ("blind_count", json!((blind > 0).then(|| count(blind, "place")))),
        ("seeing_count", json!((seeing > 0).then(|| count(seeing, "place")))),
        (
            "places",
            Value::Array(
                boats
                    .iter()
                    .filter_map(|(site, items)| {
                        let low = items.first()?.advice.facts.low;
                        Some(voice.place(site, low.as_ref(), None, false))
                    })
                    .collect(),
            ),
        ),
    ]
}

fn rest_words(voice: &Voice<'_>, items: &[RolledUp<'_>]) -> Vec<(&'static str, Value)> {
    let (mut over, mut blind) = (Vec::new(), Vec::new());
    for item in items {
        let place = place_name(item.site);
        match (&item.advice.kind, &item.advice.act, item.boat) {
            (Kind::Freeze, Act::Close { reason, .. }, Some((boat, _))) => {
                over.push(over_line(&OverLine {
                    boat: boat.name.clone(),
                    place: place.clone(),
                    done: *reason == CloseReason::Done,
                    passed: *reason == CloseReason::Passed,
                    dropped: matches!(reason, CloseReason::NotFollowed { .. }),
                    cancelled: matches!(reason, CloseReason::Cancelled { .. }),
                }))
            }
            (Kind::Blind, act, _) => blind.push(json!({
                "place": place,
                "again": matches!(act, Act::Close { .. }),
                "issued": item.advice.facts.issued_at.map(|issued| voice.time(issued)),
            })),
            _ => {}
        }
    }
    vec![("over", Value::Array(over)), ("blind", Value::Array(blind))]
}

fn services<'a>(items: &'a [RolledUp<'_>]) -> impl Iterator<Item = &'a str> {
    items.iter().map(|item| item.advice.facts.service.as_str())
}

/// The issue times that the round rests on, oldest and newest.
fn issues(voice: &Voice<'_>, items: &[RolledUp<'_>]) -> Option<String> {
    let issued = || items.iter().filter_map(|item| item.advice.facts.issued_at);
    let (oldest, newest) = (issued().min()?, issued().max()?);
    let oldest = voice.time(oldest);
    let newest = voice.time(newest);
    Some(if oldest == newest { oldest } else { format!("{oldest} to {newest}") })
}

/// One boat for a manager's list.
struct BoatLine<'a> {
    boat: &'a Boat,
    state: &'a BoatState,
    site: &'a Site,
    /// Its rows, the most pressing first.
    rows: &'a [CircuitRisk],
    now: DateTime<Utc>,
    remarks: &'a [String],
}

/// Two lines: where, for how long, by when; then what and how likely, and what to mind.
fn boat_row(voice: &Voice<'_>, number: usize, line: &BoatLine<'_>) -> Row {
    let place = location(&line.boat.location);
    let place = match place.trim() {
        "" => String::new(),
        place => format!(" ({place})"),
    };
    let minutes: f64 = line.rows.iter().map(|row| row.minutes.max(0.0)).sum();
    let frozen = !line.rows.is_empty() && line.rows.iter().all(|row| row.frozen_now);
    let start = line.rows.iter().filter_map(|row| row.latest_start).min();
    let when = match start {
        _ if frozen => voice.word(Table::Remark, "frozen"),
        Some(start) if start > line.now => {
            format!("start by {}", voice.soon(to_five_minutes(start)))
        }
        _ => voice.word(Table::Remark, "late"),
    };
    let first = if frozen {
        format!("{place}: {when}")
    } else {
        format!("{place}: {}, {when}", work(minutes))
    };
    let mut second = vec![deeds::lines(voice, line.rows, line.state)];
    second.extend(remarks(voice, line));
    second.extend(line.remarks.iter().cloned());
    let third = String::new();
    Row { number, boat: boat_name(&line.boat.name), first, second: second.join("; "), third }
}

fn remarks(voice: &Voice<'_>, line: &BoatLine<'_>) -> Vec<String> {
    let mut keys = Vec::new();
    if line.rows.iter().any(|row| row.holds == Holds::Unknown) {
        keys.push("no_record");
    }
    match line.boat.drain_permission {
        DrainPermission::Yes => keys.push("may_drain"),
        DrainPermission::No | DrainPermission::Unknown => keys.push("ask_first"),
        DrainPermission::NotApplicable => {}
    }
    if line.state.afloat {
        keys.push("afloat");
    }
    if line.boat.has_enclosed_petrol() {
        keys.push("gasoline");
    }
    if cautions::is_covered(line.state, line.site) {
        keys.push("covered");
    }
    keys.into_iter().map(|key| voice.word(Table::Remark, key)).collect()
}
