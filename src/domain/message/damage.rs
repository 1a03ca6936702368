//! To whoever runs the service: the nightly check has found the store damaged.

use std::collections::BTreeSet;

use serde_json::json;

use super::voice::{Voice, object};
use super::words::one_line;
use super::{Context, Draft, Email, MessageError, finish, identity};

/// Letters of what was found, and of the name of the file.
const FOUND_LETTERS: usize = 200;

/// Writes the letter. `found` is what the check said, `store` the file.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_damage(
    found: &str,
    store: &str,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let voice = Voice::of(context, context.date);
    let words = object(vec![vec![
        ("found", json!(one_line(found, FOUND_LETTERS))),
        ("store", json!(one_line(store, FOUND_LETTERS))),
        ("at", json!(voice.time(context.date))),
    ]]);
    let cautions = BTreeSet::from(["always"]);
    let draft = Draft { words, cautions, table: Vec::new(), shorten: None };
    let reader = context.person.id.as_str();
    let ids =
        identity::of_round("damage", context.date, reader, context.key, &context.sender.domain);
    finish("damage", &draft, ids, "operator", true, context)
}
