//! Words of kind `deadline`: the nudge to lay up in time, and that it is done.

use std::collections::BTreeSet;

use chrono::{NaiveDate, TimeDelta};
use serde_json::json;

use super::calendar::{WorkBlock, calendar};
use super::voice::{Voice, alert_name, boat_name, key_of, location, object, phone, place_name};
use super::words::{count, list, work};
use super::{Context, Draft, Email, MessageError, cautions, finish, identity};
use crate::domain::alert::AlertId;
use crate::domain::alert::deadline::Word;
use crate::domain::boat::{Boat, BoatState, CircuitId};
use crate::domain::risk::timing::{WorkingHours, day_before_end};

/// Parts named before "and 3 more".
const PARTS_NAMED: usize = 4;

/// What a nudge says.
#[derive(Debug, Clone, Copy)]
pub struct Nudge<'a> {
    /// Which alert.
    pub alert: &'a AlertId,
    /// Its revision.
    pub revision: u32,
    /// Messages that the reader has had from it before.
    pub earlier: &'a [u32],
    /// Which word.
    pub word: Word,
    /// The boat and its record.
    pub boat: (&'a Boat, &'a BoatState),
    /// Dear parts that hold water or nothing on record.
    pub wet: &'a [CircuitId],
    /// The last day.
    pub last_day: NaiveDate,
    /// The chance tolerated until then, as one in so many.
    pub one_in: u32,
    /// The day by which half of the past autumns had frozen.
    pub half_day: Option<NaiveDate>,
    /// Past seasons looked at.
    pub seasons: usize,
    /// Minutes of the work.
    pub minutes: f64,
    /// When people work.
    pub hours: WorkingHours,
}

/// Writes the letter, with a calendar entry for the day before the time is over.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_deadline(nudge: &Nudge<'_>, context: &Context<'_>) -> Result<Email, MessageError> {
    let (boat, state) = nudge.boat;
    let voice = Voice::of(context, context.date);
    let mut parts: Vec<String> =
        nudge.wet.iter().map(|circuit| voice.part(circuit, None)).collect();
    parts.dedup();
    let done = nudge.word == Word::Done;
    // The reader has moved the entry to a day of their own by now: it is theirs to delete.
    let block = if done { None } else { block(nudge, context) };
    let day = |date: NaiveDate| date.format("%a %-d %b").to_string();
    let words = object(vec![vec![
        ("boat", json!(boat_name(&boat.name))),
        ("place", json!(place_name(context.site))),
        ("location", json!(location(&boat.location))),
        ("afloat", json!(state.afloat)),
        ("care", json!(key_of(&boat.care))),
        ("phone", json!(phone(context.site))),
        ("yard", json!(if context.site.duty_phone.is_some() { "the yard" } else { "a boatyard" })),
        ("parts", json!(list(&parts, PARTS_NAMED))),
        ("last_day", json!(day(nudge.last_day))),
        ("last_day_long", json!(nudge.last_day.format("%A %-d %B").to_string())),
        ("past", json!(nudge.last_day < context.date.with_timezone(&voice.zone).date_naive())),
        ("today", json!(nudge.last_day == context.date.with_timezone(&voice.zone).date_naive())),
        ("one_in", json!(nudge.one_in)),
        ("half_day", json!(nudge.half_day.map(|half| half.format("%-d %b").to_string()))),
        ("seasons", json!(count(nudge.seasons, "past autumn"))),
        ("frozen_in", json!(frozen_in(nudge))),
        ("work", json!(work(nudge.minutes))),
        ("block", json!(block.as_ref().map(|block| voice.time(block.start)))),
        ("last", json!(nudge.word == Word::Nudge(3))),
        ("alert", json!(alert_name(nudge.alert))),
        ("number", json!(nudge.earlier.len().saturating_add(1))),
        ("zone", json!(super::words::zone_name(context.date, voice.zone))),
    ]]);
    let rules = if done {
        BTreeSet::from(["always"])
    } else {
        cautions::for_lay_up(boat, state, context.site)
    };
    let shorten = Some(("boat", boat_name(&boat.name)));
    let draft = Draft { words, cautions: rules, table: Vec::new(), shorten };
    let id = |revision| {
        let (about, reader) = (nudge.alert.as_str(), context.person.id.as_str());
        context.key.id(about, revision, reader, 0, &context.sender.domain)
    };
    let earlier = nudge.earlier.iter().map(|revision| id(*revision)).collect();
    let ids = identity::Ids { own: id(nudge.revision), earlier };
    let template = if done { "deadline_done" } else { "deadline_raise" };
    let letter = finish(template, &draft, ids, "deadline", false, context)?;
    Ok(Email { calendar: block.map(|block| calendar(&block)), ..letter })
}

/// In how many of the past seasons it had frozen by the day after the last one.
fn frozen_in(nudge: &Nudge<'_>) -> usize {
    let one_in = usize::try_from(nudge.one_in).unwrap_or(usize::MAX).max(1);
    nudge.seasons.div_ceil(one_in)
}

/// The block of work that is proposed: the last weekend day, or else working day, before the last day.
fn block(nudge: &Nudge<'_>, context: &Context<'_>) -> Option<WorkBlock> {
    let (zone, name) = (context.site.time_zone, boat_name(&nudge.boat.0.name));
    let start = day_before_end(nudge.last_day, context.date, zone, nudge.hours)?;
    let seconds = std::time::Duration::try_from_secs_f64(nudge.minutes.max(0.0) * 60.0).ok()?;
    Some(WorkBlock {
        uid: format!("{}@{}", nudge.alert, context.sender.domain),
        sequence: nudge.revision,
        written: context.date,
        start,
        end: start + TimeDelta::from_std(seconds).ok()?,
        what: format!("{name}: finish lay-up"),
        place: place_name(context.site),
    })
}
