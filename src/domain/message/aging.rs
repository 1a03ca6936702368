//! To whoever runs the service, and to whoever stands on our advice: a forecast is older than it should be. No alert: it is
//! judged on all the same, and becomes one when it can no longer be relied on.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::voice::{Voice, key_of, object};
use super::words::{count, one_line, zone_name};
use super::{Context, Draft, Email, MessageError, finish, identity};

/// Letters of a place's name.
const PLACE_LETTERS: usize = 60;

/// A place whose forecast is getting old.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Aging {
    /// Its name.
    pub place: String,
    /// When the newest usable issue was made.
    pub issued_at: Option<DateTime<Utc>>,
    /// When it can no longer be relied on, if nothing more comes.
    pub blind_from: Option<DateTime<Utc>>,
    /// Boats of the reader's with an open alert there.
    pub boats: Vec<String>,
}

/// Writes the letter.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_aging(places: &[Aging], context: &Context<'_>) -> Result<Email, MessageError> {
    let voice = Voice::of(context, context.date);
    let name = |aging: &Aging| one_line(&aging.place, PLACE_LETTERS);
    let lines: Vec<Value> = places
        .iter()
        .map(|aging| {
            json!({
                "place": name(aging),
                "issued": aging.issued_at.map(|at| voice.time(at)),
                "blind_from": aging.blind_from.map(|at| voice.time(at)),
                "boats": super::words::list(&aging.boats, 3),
            })
        })
        .collect();
    let standing = places.iter().any(|aging| !aging.boats.is_empty());
    let words = object(vec![vec![
        ("several", json!(places.len() > 1)),
        ("count", json!(count(places.len(), "place"))),
        ("place", json!(places.first().map_or_else(String::new, name))),
        ("places", Value::Array(lines)),
        ("standing", json!(standing)),
        ("reader", json!(key_of(&context.person.role))),
        ("zone", json!(zone_name(context.date, voice.zone))),
    ]]);
    let shorten = places.first().map(|aging| ("place", name(aging)));
    let draft = Draft { words, cautions: BTreeSet::from(["always"]), table: Vec::new(), shorten };
    let reader = context.person.id.as_str();
    let ids =
        identity::of_round("aging", context.date, reader, context.key, &context.sender.domain);
    finish("aging", &draft, ids, "operator", false, context)
}
