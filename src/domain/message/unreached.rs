//! Words of kind `unreachable`: to a next contact, about people whom our mail does not reach.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::phrases::Table;
use super::voice::{Voice, object};
use super::words::{count, list, one_line};
use super::{Context, Draft, Email, MessageError, finish, identity};
use crate::domain::alert::unreachable::Trouble;
use crate::domain::yard::Person;

/// Letters of a name, and of what a server said.
const NAME_LETTERS: usize = 60;
const ANSWER_LETTERS: usize = 160;
/// Subjects of one person named before "and 2 more".
const SUBJECTS_NAMED: usize = 8;

/// What one person did not get.
#[derive(Debug, Clone, Copy)]
pub struct MissedBy<'a> {
    /// Who.
    pub person: &'a Person,
    /// Why.
    pub trouble: Trouble,
    /// The address.
    pub address: &'a str,
    /// The server's words, or ours.
    pub why: &'a str,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Subjects of what did not arrive, oldest first.
    pub subjects: &'a [String],
}

/// The letter to a next contact: whom to call, about what. `places`: what the reader answers for. The context's place
/// gives the zone.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_unreached(
    missed: &[MissedBy<'_>],
    places: &[String],
    urgent: bool,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let voice = Voice::of(context, context.date);
    let people: Vec<Value> = missed.iter().map(|one| person(&voice, one)).collect();
    let letters: Vec<Value> = missed
        .iter()
        .flat_map(|one| {
            let name = name(one.person);
            let subjects = one.subjects.iter().take(SUBJECTS_NAMED);
            let more = one.subjects.len().saturating_sub(SUBJECTS_NAMED);
            let rest = (more > 0).then(|| format!("and {more} more"));
            let lines = subjects.map(|subject| one_line(subject, ANSWER_LETTERS)).chain(rest);
            lines.map(move |line| json!({ "name": name, "subject": line })).collect::<Vec<_>>()
        })
        .collect();
    let words = object(vec![vec![
        ("name", json!(missed.first().map_or_else(String::new, |one| name(one.person)))),
        ("several", json!(missed.len() > 1)),
        ("count", json!(count(missed.len(), "person").replace("persons", "people"))),
        ("people", Value::Array(people)),
        ("letters", Value::Array(letters)),
        ("places", json!(list(places, places.len()))),
        ("addresses", json!(missed.iter().any(|one| one.trouble.is_the_address()))),
        ("server", json!(missed.iter().any(|one| !one.trouble.is_the_address()))),
    ]]);
    let shorten = missed.first().map(|one| ("name", name(one.person)));
    let draft = Draft { words, cautions: BTreeSet::from(["always"]), table: Vec::new(), shorten };
    let ids = ids("unreached", context);
    finish("unreachable_raise", &draft, ids, "operator", urgent, context)
}

/// The letter that says that these people can be reached again. Their names, and since when they could not.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_reached(
    people: &[(String, DateTime<Utc>)],
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let voice = Voice::of(context, context.date);
    let lines: Vec<Value> = people
        .iter()
        .map(|(name, since)| json!({ "name": one_line(name, NAME_LETTERS), "since": voice.time(*since) }))
        .collect();
    let words = object(vec![vec![
        (
            "name",
            json!(
                people.first().map_or_else(String::new, |(name, _)| one_line(name, NAME_LETTERS))
            ),
        ),
        ("several", json!(people.len() > 1)),
        ("count", json!(count(people.len(), "person").replace("persons", "people"))),
        ("people", Value::Array(lines)),
    ]]);
    let shorten = people.first().map(|(name, _)| ("name", one_line(name, NAME_LETTERS)));
    let draft = Draft { words, cautions: BTreeSet::from(["always"]), table: Vec::new(), shorten };
    let ids = ids("reached", context);
    finish("unreachable_close", &draft, ids, "operator", false, context)
}

fn person(voice: &Voice<'_>, one: &MissedBy<'_>) -> Value {
    json!({
        "name": name(one.person),
        "phone": one.person.phone.as_deref().map(|phone| one_line(phone, NAME_LETTERS)),
        "why": voice
            .word(Table::Unreached, one.trouble.key())
            .replace("{since}", &voice.time(one.since))
            // What others wrote comes last, so that it cannot bring blanks of its own.
            .replace("{address}", &one_line(one.address, NAME_LETTERS))
            .replace("{answer}", &one_line(one.why, ANSWER_LETTERS)),
    })
}

fn name(person: &Person) -> String {
    one_line(&person.name, NAME_LETTERS)
}

fn ids(what: &str, context: &Context<'_>) -> identity::Ids {
    let reader = context.person.id.as_str();
    identity::of_round(what, context.date, reader, context.key, &context.sender.domain)
}
