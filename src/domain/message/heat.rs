//! Words of kind `heat`: what is wrong with the heat of a place, and how long each boat in it has.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::voice::{Voice, alert_name, boat_name, location, object, phone, place_name};
use super::words::{count, list, work, zone_name};
use super::{Context, Draft, Email, MessageError, cautions, finish, identity};
use crate::domain::alert::heat::{Trouble, Word};
use crate::domain::alert::{AlertId, Low, System};
use crate::domain::boat::{Boat, BoatState};
use crate::domain::weather::ForecastState;

/// Boats listed; the rest are counted.
const BOATS_LISTED: usize = 30;
/// Parts named of each.
const PARTS_NAMED: usize = 6;

/// A boat in the place, and what the cold does to it there.
#[derive(Debug, Clone)]
pub struct InTheShed<'a> {
    /// Which, and its record.
    pub boat: (&'a Boat, &'a BoatState),
    /// The part that gives the least time; `None` where none freezes within the hours looked at.
    pub first: Option<System>,
    /// When it may be past its limit, at the earliest.
    pub danger: Option<DateTime<Utc>>,
    /// It is so already.
    pub frozen: bool,
    /// Minutes of work for what can still be helped.
    pub minutes: f64,
    /// Those parts.
    pub parts: Vec<System>,
}

/// What the word says.
#[derive(Debug, Clone, Copy)]
pub struct HeatTold<'a> {
    /// Which alert.
    pub alert: &'a AlertId,
    /// Its revision.
    pub revision: u32,
    /// Messages that the reader has had from it before.
    pub earlier: &'a [u32],
    /// Which word.
    pub word: Word,
    /// What is wrong; `None` where nothing is any more.
    pub trouble: Option<Trouble>,
    /// The boats, the one with the least time first.
    pub boats: &'a [InTheShed<'a>],
    /// The coming low outside.
    pub low: Option<&'a Low>,
    /// From where to when that was looked at, and whether it can be relied on.
    pub forecast: (&'a str, Option<DateTime<Utc>>, ForecastState),
    /// How far ahead was looked.
    pub until: DateTime<Utc>,
    /// Was there a usable forecast? Without one nobody can say how long a boat has.
    pub seen: bool,
    /// What was told before was that nobody reads it.
    pub was_silent: bool,
}

impl<'a> HeatTold<'a> {
    /// The boats that the letter lists.
    #[must_use]
    pub fn listed(&self) -> &'a [InTheShed<'a>] {
        self.boats.get(..BOATS_LISTED).unwrap_or(self.boats)
    }
}

/// Writes the letter.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_heat(told: &HeatTold<'_>, context: &Context<'_>) -> Result<Email, MessageError> {
    let (site, now) = (context.site, context.date);
    let voice = Voice::of(context, now);
    let (service, issued, state) = told.forecast;
    let first = told.boats.first();
    let at = |danger: DateTime<Utc>| voice.time(danger);
    let hours = |danger: DateTime<Utc>| (danger - now).num_hours().max(0);
    let lines: Vec<Value> = told
        .listed()
        .iter()
        .map(|line| {
            let (boat, _) = line.boat;
            json!({
                "boat": boat_name(&boat.name),
                "location": location(&boat.location),
                "part": line.first.as_ref().map(|part| voice.system(part)),
                "frozen": line.frozen,
                "work": (line.minutes > 0.0).then(|| work(line.minutes)),
                "parts": list(&line.parts.iter().map(|part| voice.system(part)).collect::<Vec<_>>(), PARTS_NAMED),
                "at": line.danger.map(at),
                "hours": line.danger.map(hours),
            })
        })
        .collect();
    let (since, read, last) = match told.trouble {
        Some(Trouble::Off { since }) => (Some(voice.time(since)), None, None),
        Some(Trouble::Low { read_c, morning }) => {
            let day = morning.format("%a %-d %b").to_string();
            (None, Some(voice.temperature(read_c)), Some(day))
        }
        Some(Trouble::Silent { last }) => (None, None, Some(last.format("%a %-d %b").to_string())),
        None => (None, None, None),
    };
    let words = object(vec![
        voice.basis(service, issued, state, site),
        vec![
            ("place", json!(place_name(site))),
            ("phone", json!(phone(site))),
            ("trouble", json!(told.trouble.map_or("", |trouble| trouble.key()))),
            ("since", json!(since)),
            ("read", json!(read)),
            ("last", json!(last)),
            ("setpoint", json!(site.heat_setpoint.map(|set| voice.temperature(set.value())))),
            ("boats", json!(told.boats.len())),
            ("boats_count", json!(count(told.boats.len(), "boat"))),
            ("lines", json!(lines)),
            ("more", json!(told.boats.len().saturating_sub(BOATS_LISTED))),
            ("first_boat", json!(first.map(|line| boat_name(&line.boat.0.name)))),
            ("first_at", json!(first.and_then(|line| line.danger).map(at))),
            ("first_soon", json!(first.and_then(|l| l.danger).map(|danger| voice.soon(danger)))),
            ("first_hours", json!(first.and_then(|line| line.danger).map(hours))),
            ("frozen", json!(first.is_some_and(|line| line.frozen))),
            ("low", json!(told.low.map(|low| voice.temperature(low.median_c)))),
            ("low_range", json!(told.low.map(|low| voice.low_range(low)))),
            ("low_time", json!(told.low.map(|low| voice.time(low.time)))),
            ("until", json!(voice.time(told.until))),
            ("seen", json!(told.seen)),
            ("was_silent", json!(told.was_silent)),
            ("mild", json!(told.word == Word::Mild)),
            ("empty", json!(told.word == Word::Empty)),
            ("alert", json!(alert_name(told.alert))),
            ("number", json!(told.earlier.len().saturating_add(1))),
            ("zone", json!(zone_name(now, voice.zone))),
        ],
    ]);
    let trouble = told.word == Word::Trouble;
    let mut rules = BTreeSet::from(["always"]);
    if trouble {
        rules.extend(["heater", "covered"]);
        rules.extend(told.boats.iter().flat_map(|line| {
            let (boat, state) = line.boat;
            cautions::for_visit(boat, state, site)
        }));
        if told.boats.iter().any(|line| line.frozen) {
            rules.insert("frozen");
        }
    }
    let id = |revision| {
        let (about, reader) = (told.alert.as_str(), context.person.id.as_str());
        context.key.id(about, revision, reader, 0, &context.sender.domain)
    };
    let earlier = told.earlier.iter().map(|revision| id(*revision)).collect();
    let ids = identity::Ids { own: id(told.revision), earlier };
    let shorten = Some(("place", place_name(site)));
    let draft = Draft { words, cautions: rules, table: Vec::new(), shorten };
    let template = if trouble { "heat_raise" } else { "heat_close" };
    let urgent = trouble && !matches!(told.trouble, Some(Trouble::Silent { .. }));
    finish(template, &draft, ids, "heat", urgent, context)
}
