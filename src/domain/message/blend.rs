//! Words of kind `blend`: what is in it would not hold a winter here, and that it does now or that the cold is over.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::voice::{Voice, alert_name, boat_name, key_of, location, object, phone, place_name};
use super::words::{count, list, zone_name};
use super::{Context, Draft, Email, MessageError, cautions, finish, identity};
use crate::domain::alert::AlertId;
use crate::domain::alert::blend::{WeakPart, Word};
use crate::domain::boat::{Boat, BoatState};
use crate::domain::units::Celsius;

/// From so near on there is no time to speak of.
const SOON_DAYS: i64 = 14;
/// Parts named before "and 3 more".
const PARTS_NAMED: usize = 4;

/// What the word says.
#[derive(Debug, Clone, Copy)]
pub struct TooWeak<'a> {
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
    /// What is too weak.
    pub weak: &'a [WeakPart],
    /// Past winters looked at.
    pub winters: usize,
    /// More than one in so many of them is told.
    pub one_in: u32,
    /// The earliest day on which one of them broke in a past winter, in this one.
    pub earliest: Option<NaiveDate>,
    /// First ice of the weakest mixture that holds in nearly all of those winters; `None`: no mixture is known to.
    pub holds_from: Option<Celsius>,
}

/// Writes the letter.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_blend(told: &TooWeak<'_>, context: &Context<'_>) -> Result<Email, MessageError> {
    let (boat, state) = told.boat;
    let voice = Voice::of(context, context.date);
    let name = |part: &WeakPart| voice.system(&part.system);
    let mut parts: Vec<String> = told.weak.iter().map(name).collect();
    parts.dedup();
    let lines: Vec<Value> = told
        .weak
        .iter()
        .map(|part| {
            json!({
                "part": name(part),
                "first_ice": voice.temperature(part.first_ice.value()),
                "burst": part.burst.map(|burst| voice.temperature(burst.value())),
                "winters": part.winters,
            })
        })
        .collect();
    let most = told.weak.iter().map(|part| part.winters).max().unwrap_or(0);
    let words = object(vec![vec![
        ("boat", json!(boat_name(&boat.name))),
        ("place", json!(place_name(context.site))),
        ("location", json!(location(&boat.location))),
        ("afloat", json!(state.afloat)),
        ("care", json!(key_of(&boat.care))),
        ("phone", json!(phone(context.site))),
        ("yard", json!(if context.site.duty_phone.is_some() { "the yard" } else { "a boatyard" })),
        ("parts", json!(list(&parts, PARTS_NAMED))),
        ("lines", json!(lines)),
        ("winters", json!(most)),
        ("of", json!(count(told.winters, "past winter"))),
        ("one_in", json!(told.one_in)),
        ("earliest", json!(told.earliest.map(|day| day.format("%-d %b").to_string()))),
        (
            "soon",
            json!(told.earliest.is_some_and(|day| (day - voice.today()).num_days() < SOON_DAYS)),
        ),
        ("holds_from", json!(told.holds_from.map(|ice| voice.temperature(ice.value())))),
        ("over", json!(told.word == Word::Over)),
        ("alert", json!(alert_name(told.alert))),
        ("number", json!(told.earlier.len().saturating_add(1))),
        ("zone", json!(zone_name(context.date, voice.zone))),
    ]]);
    let weak = told.word == Word::Weak;
    let rules = if weak {
        cautions::for_lay_up(boat, state, context.site)
    } else {
        BTreeSet::from(["always"])
    };
    let shorten = Some(("boat", boat_name(&boat.name)));
    let draft = Draft { words, cautions: rules, table: Vec::new(), shorten };
    let id = |revision| {
        let (about, reader) = (told.alert.as_str(), context.person.id.as_str());
        context.key.id(about, revision, reader, 0, &context.sender.domain)
    };
    let earlier = told.earlier.iter().map(|revision| id(*revision)).collect();
    let ids = identity::Ids { own: id(told.revision), earlier };
    let template = if weak { "blend_raise" } else { "blend_close" };
    finish(template, &draft, ids, "blend", false, context)
}
