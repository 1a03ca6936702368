//! To the yard: somebody has answered a letter of ours with something that a person has to see to.

use std::collections::BTreeSet;

use serde_json::json;

use super::voice::object;
use super::words::one_line;
use super::{Context, Draft, Email, MessageError, finish, identity};

/// Letters of what they wrote, and of names.
const TEXT_LETTERS: usize = 2_000;
const SUBJECT_LETTERS: usize = 200;
const NAME_LETTERS: usize = 60;

/// An answer.
#[derive(Debug, Clone, Copy)]
pub struct Answered<'a> {
    /// Who has answered.
    pub name: &'a str,
    /// Their telephone, where it is known.
    pub phone: Option<&'a str>,
    /// The address that we write to.
    pub address: &'a str,
    /// To which letter, by its subject.
    pub letter: &'a str,
    /// They ask the yard to do it.
    pub asks_yard: bool,
    /// The letter counts as seen by it.
    pub is_seen: bool,
    /// The address that it came from, where that is not theirs.
    pub stranger: Option<&'a str>,
    /// What they wrote.
    pub text: &'a str,
}

/// Writes the letter; `about` tells answers apart.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn compose_answered(
    answered: &Answered<'_>,
    about: &str,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let words = object(vec![vec![
        ("name", json!(one_line(answered.name, NAME_LETTERS))),
        ("letter", json!(one_line(answered.letter, SUBJECT_LETTERS))),
        ("text", json!(one_line(answered.text, TEXT_LETTERS))),
        ("phone", json!(answered.phone.map(|phone| one_line(phone, NAME_LETTERS)))),
        ("address", json!(one_line(answered.address, NAME_LETTERS))),
        ("asks_yard", json!(answered.asks_yard)),
        ("is_seen", json!(answered.is_seen)),
        ("stranger", json!(answered.stranger.map(|from| one_line(from, NAME_LETTERS)))),
    ]]);
    let shorten = Some(("name", one_line(answered.name, NAME_LETTERS)));
    let draft = Draft { words, cautions: BTreeSet::from(["always"]), table: Vec::new(), shorten };
    let reader = context.person.id.as_str();
    let ids = identity::of_round(about, context.date, reader, context.key, &context.sender.domain);
    finish("answered", &draft, ids, "operator", answered.asks_yard, context)
}
