//! The letter that opens a season: when people hear from us, and what it means when they do not.

use std::collections::BTreeSet;

use serde_json::json;

use super::phrases::Table;
use super::voice::{Voice, boat_name, key_of, object, phone};
use super::words::{list, one_line, zone_name};
use super::{Context, Draft, Email, MessageError, finish, identity};
use crate::domain::boat::Boat;
use crate::domain::yard::Role;

/// Names listed before "and 3 more".
const NAMED: usize = 6;
/// Letters of a place's name.
const PLACE_LETTERS: usize = 60;

/// What one reader is told at the start of a season.
#[derive(Debug, Clone, Copy)]
pub struct Opening<'a> {
    /// The first year of the winter.
    pub year: i32,
    /// The reader's own boats.
    pub boats: &'a [&'a Boat],
    /// Names of the places that they answer for, or where their boats stand.
    pub places: &'a [String],
    /// When the yard's worklist goes out, in words; `None` where nobody gets one.
    pub worklist: Option<&'a str>,
    /// Names of those of the reader's boats of which nobody has said how the engine is cooled.
    pub cooling_open: &'a [String],
    /// Nudges to lay up are on for one of the places.
    pub nudges: bool,
}

/// Writes the letter. The context's place gives the zone and the telephone.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_opening(
    opening: &Opening<'_>,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let voice = Voice::of(context, context.date);
    let boats: Vec<String> = opening.boats.iter().map(|boat| boat_name(&boat.name)).collect();
    let places: Vec<String> =
        opening.places.iter().map(|place| one_line(place, PLACE_LETTERS)).collect();
    let asked: Vec<String> = opening.cooling_open.iter().map(|name| boat_name(name)).collect();
    let one_in =
        context.person.tell_at_chance.map(|chance| (1.0 / chance.clamp(0.01, 1.0)).round());
    let words = object(vec![vec![
        ("desk", json!(one_line(&context.sender.desk, PLACE_LETTERS))),
        ("winter", json!(format!("{}/{:02}", opening.year, (opening.year + 1) % 100))),
        ("reader", json!(key_of(&context.person.role))),
        ("boats", json!(list(&boats, NAMED))),
        ("has_boats", json!(!boats.is_empty())),
        ("places", json!(list(&places, NAMED))),
        ("worklist", json!(opening.worklist)),
        ("nudges", json!(opening.nudges)),
        ("ask_cooling", json!(list(&asked, NAMED))),
        ("several", json!(asked.len() > 1)),
        ("one_in", json!(one_in)),
        ("phone", json!(phone(context.site))),
        ("yard", json!(if context.site.duty_phone.is_some() { "the yard" } else { "a boatyard" })),
        ("zone", json!(zone_name(context.date, voice.zone))),
        ("lines", json!(lines(opening, context, one_in))),
    ]]);
    let draft =
        Draft { words, cautions: BTreeSet::from(["always"]), table: Vec::new(), shorten: None };
    let reader = context.person.id.as_str();
    let ids =
        identity::of_round("opening", context.date, reader, context.key, &context.sender.domain);
    finish("opening", &draft, ids, "season", false, context)
}

/// When this reader hears from us, by what they are.
fn lines(opening: &Opening<'_>, context: &Context<'_>, one_in: Option<f64>) -> Vec<String> {
    let word = |key: &str| context.phrases.word(Table::Opening, key);
    let mut lines = Vec::new();
    if opening.boats.is_empty() {
        if let (Role::Manager, Some(at)) = (context.person.role, opening.worklist) {
            lines.push(word("worklist").replace("{at}", at));
        }
        lines.push(word(if context.person.role == Role::Operator { "operator" } else { "yard" }));
    } else {
        if opening.nudges {
            lines.push(word("nudges"));
        }
        lines.push(match one_in {
            Some(one_in) => word("owner_from").replace("{one_in}", &format!("{one_in:.0}")),
            None => word("owner"),
        });
        lines.push(word("owner_worse"));
        lines.push(word("owner_over"));
    }
    lines
}
