//! The phrase catalogue: words and their order as data, so that a yard can edit or translate them.

mod own;

use std::collections::{BTreeMap, BTreeSet};

use minijinja::{Environment, UndefinedBehavior};
use serde::Deserialize;
use serde_json::Value;

use super::block::{Block, Group, unbroken};
use super::words::shorten;
use super::{MessageError, short};
use crate::domain::catalogue::Deeds;

/// Longest subject in characters (RFC 5322 asks for lines of 78 at most; phones show about 40).
pub const SUBJECT_LETTERS: usize = 60;

/// Shortest that a boat's name is cut to, before the rest of the subject is cut instead.
const NAME_FLOOR: usize = 10;

/// At most so many NOTICE lines; WARNING lines that apply are never cut.
pub const NOTICES: usize = 2;

/// The catalogue, parsed.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Phrases {
    /// Version of the layout of this table.
    pub version: u32,
    chance: BTreeMap<String, String>,
    holds: BTreeMap<String, String>,
    evidence: BTreeMap<String, String>,
    event: BTreeMap<String, String>,
    object: BTreeMap<String, String>,
    liquid: BTreeMap<String, String>,
    ask: BTreeMap<String, String>,
    change: BTreeMap<String, String>,
    ended: BTreeMap<String, String>,
    remark: BTreeMap<String, String>,
    unreached: BTreeMap<String, String>,
    breaks: BTreeMap<String, String>,
    opening: BTreeMap<String, String>,
    pub(super) message: BTreeMap<String, MessageTemplate>,
    pub(super) part: BTreeMap<String, Part>,
    pub(super) caution: Vec<Caution>,
    pub(super) lint: LintRules,
    /// Do words of the yard's own stand in it?
    #[serde(skip)]
    pub(super) own: bool,
    /// What is asked about each part: not words of the yard's own.
    #[serde(skip)]
    pub(super) deeds: Deeds,
}

/// Subject and order of one kind of message.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MessageTemplate {
    pub subject: Vec<String>,
    /// As a short text, the fullest form first; the last one holds what is never cut.
    #[serde(default)]
    pub short: Vec<String>,
    pub parts: Vec<String>,
}

/// One part.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Part {
    pub role: String,
    pub label: Option<String>,
    pub text: Option<String>,
    #[serde(default)]
    pub items: Vec<String>,
    pub each: Option<String>,
    pub table: Option<String>,
    #[serde(default)]
    pub numbered: bool,
    #[serde(default)]
    pub optional: bool,
}

/// One caution with the rule that attaches it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Caution {
    pub when: String,
    pub signal: String,
    pub text: String,
    /// In a short text; every WARNING has one.
    pub short: Option<String>,
    pub source: String,
}

/// What the lint looks for.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LintRules {
    pub banned: Vec<String>,
    pub required: BTreeMap<String, Vec<String>>,
}

/// The catalogue that is compiled in, as it is written, with what it explains.
pub const BUILT_IN: &str = include_str!("../../../config/catalogue/phrases.toml");
const LAYOUT: &str = include_str!("../../../config/catalogue/letter.html");

impl Phrases {
    /// The catalogue that is compiled in.
    ///
    /// # Errors
    /// As [`Phrases::parse`]; a test keeps it from happening.
    pub fn built_in() -> Result<Self, MessageError> {
        Self::parse(BUILT_IN)
    }

    /// Reads a catalogue and checks that every template in it parses.
    ///
    /// # Errors
    /// [`MessageError::Catalogue`] with line and column, [`MessageError::Template`] with the part and the line in it.
    pub fn parse(text: &str) -> Result<Self, MessageError> {
        let mut phrases: Self = toml::from_str(text)
            .map_err(|source| MessageError::Catalogue { source: Box::new(source) })?;
        phrases.deeds = Deeds::built_in()?;
        let env = environment();
        for (name, source) in phrases.templates() {
            env.template_from_named_str(&name, source).map_err(|e| template_error(&name, e))?;
        }
        Ok(phrases)
    }

    /// Every template with a name for people.
    pub(super) fn templates(&self) -> Vec<(String, &str)> {
        let short = self.message.iter().flat_map(|(name, message)| {
            let name = format!("message.{name}.short");
            message.short.iter().map(move |text| (name.clone(), text.as_str()))
        });
        let subjects = self.message.iter().flat_map(|(name, message)| {
            let name = format!("message.{name}.subject");
            message.subject.iter().map(move |text| (name.clone(), text.as_str()))
        });
        let parts = self.part.iter().flat_map(|(name, part)| {
            let name = format!("part.{name}");
            part.text.iter().chain(&part.items).map(move |text| (name.clone(), text.as_str()))
        });
        subjects.chain(short).chain(parts).collect()
    }

    pub(super) fn word(&self, table: Table, key: &str) -> String {
        let (map, fallback) = match table {
            Table::Chance => (&self.chance, "chance"),
            Table::Holds => (&self.holds, "unknown"),
            Table::Evidence => (&self.evidence, "none"),
            Table::Event => (&self.event, "first_ice"),
            Table::Object => (&self.object, "default"),
            Table::Liquid => (&self.liquid, "default"),
            Table::Ask => (&self.ask, "late"),
            Table::Change => (&self.change, "none"),
            Table::Ended => (&self.ended, "over"),
            Table::Remark => (&self.remark, "no_record"),
            Table::Unreached => (&self.unreached, "refused"),
            Table::Opening => (&self.opening, "owner"),
        };
        map.get(key).or_else(|| map.get(fallback)).cloned().unwrap_or_else(|| key.replace('_', " "))
    }

    /// What breaks when this circuit freezes, where it is called after its liquid.
    pub(super) fn breaks(&self, circuit: &str) -> Option<String> {
        self.breaks.get(circuit).cloned()
    }

    /// The first subject that is short enough; where none is, the name in it is cut, and at last the subject itself.
    pub(super) fn subject(
        &self,
        message: &str,
        words: &Value,
        name: Option<&(&'static str, String)>,
    ) -> Result<String, MessageError> {
        let env = environment();
        let title = format!("message.{message}.subject");
        let forms = &self.template(message)?.subject;
        let mut last = String::new();
        for form in forms {
            last = render(&env, &title, form, words)?;
            if last.chars().count() <= SUBJECT_LETTERS {
                return Ok(last);
            }
        }
        if let (Some((key, name)), Some(form)) = (name, forms.last()) {
            let over = last.chars().count().saturating_sub(SUBJECT_LETTERS);
            let left = name.chars().count().saturating_sub(over).max(NAME_FLOOR);
            let mut words = words.clone();
            if let Some(slot) = words.get_mut(*key) {
                *slot = Value::String(shorten(name, left));
            }
            last = render(&env, &title, form, &words)?;
        }
        Ok(shorten(&last, SUBJECT_LETTERS))
    }

    /// The message as a short text: the first form that fits with the WARNING lines that apply, which are never cut; `None`
    /// for a message that has none.
    pub(super) fn short(
        &self,
        message: &str,
        words: &Value,
        cautions: &BTreeSet<&'static str>,
    ) -> Result<Option<String>, MessageError> {
        let env = environment();
        let title = format!("message.{message}.short");
        let warnings: Vec<&str> = self
            .caution
            .iter()
            .filter(|one| one.signal == "WARNING" && cautions.contains(one.when.as_str()))
            .filter_map(|one| one.short.as_deref())
            .collect();
        let mut forms = Vec::new();
        for letters in [short::NAME_LETTERS, NAME_FLOOR] {
            let words = short::words(words, letters);
            for form in &self.template(message)?.short {
                let form = render(&env, &title, form, &words)?;
                forms.push(if warnings.is_empty() {
                    form
                } else {
                    format!("{form} WARNING: {}", warnings.join(" "))
                });
            }
        }
        Ok(short::fitting(&forms))
    }

    /// The parts of a message, filled.
    pub(super) fn blocks(
        &self,
        message: &str,
        words: &Value,
        cautions: &BTreeSet<&'static str>,
        table: &[Group],
    ) -> Result<Vec<Block>, MessageError> {
        let env = environment();
        let mut blocks = Vec::new();
        for name in &self.template(message)?.parts {
            let part = self
                .part
                .get(name)
                .ok_or_else(|| MessageError::Missing { what: "part", name: name.clone() })?;
            match part.role.as_str() {
                "safety" => blocks.extend(self.safety(cautions)),
                "note" => blocks.extend(self.notes()),
                _ if part.table.is_some() => {
                    if !table.is_empty() {
                        blocks.push(Block::Table { groups: table.to_vec() });
                    } else if !part.optional {
                        return Err(MessageError::Empty { part: name.clone() });
                    }
                }
                _ => blocks.extend(fill(&env, name, part, words)?),
            }
        }
        Ok(blocks)
    }

    /// The letter as HTML. Everything that came from people is escaped by the template engine.
    pub(super) fn html(
        &self,
        subject: &str,
        blocks: &[Block],
        picture: Option<&super::shown::Shown<'_>>,
    ) -> Result<String, MessageError> {
        let env = environment();
        let mut words =
            serde_json::json!({ "subject": subject, "blocks": blocks, "picture": picture });
        keep_units(&mut words);
        let words = minijinja::Value::from(minijinja::value::Serde(&words));
        // The name's ending turns on escaping.
        env.render_named_str("letter.html", LAYOUT, words)
            .map_err(|source| template_error("letter.html", source))
    }

    fn template(&self, message: &str) -> Result<&MessageTemplate, MessageError> {
        self.message
            .get(message)
            .ok_or_else(|| MessageError::Missing { what: "message", name: message.to_owned() })
    }

    fn safety(&self, cautions: &BTreeSet<&'static str>) -> Vec<Block> {
        let mut notices = 0_usize;
        self.caution
            .iter()
            .filter(|caution| cautions.contains(caution.when.as_str()) && caution.when != "always")
            .filter(|caution| {
                notices += usize::from(caution.signal == "NOTICE");
                caution.signal == "WARNING" || notices <= NOTICES
            })
            .map(|caution| Block::Caution {
                signal: caution.signal.clone(),
                text: caution.text.clone(),
            })
            .collect()
    }

    fn notes(&self) -> impl Iterator<Item = Block> + '_ {
        self.caution
            .iter()
            .filter(|caution| caution.when == "always")
            .map(|caution| Block::Small { label: None, text: caution.text.clone() })
    }
}

/// A table of words.
#[derive(Debug, Clone, Copy)]
pub(super) enum Table {
    Chance,
    Holds,
    Evidence,
    Event,
    Object,
    Liquid,
    Ask,
    Change,
    Ended,
    Remark,
    Unreached,
    Opening,
}

/// Parts that are printed small, at the end.
const SMALL: [&str; 4] = ["basis", "next", "reference", "log"];

fn fill(
    env: &Environment<'_>,
    name: &str,
    part: &Part,
    words: &Value,
) -> Result<Option<Block>, MessageError> {
    let title = format!("part.{name}");
    let text = part.text.as_deref().unwrap_or_default();
    let empty = || {
        if part.optional { Ok(None) } else { Err(MessageError::Empty { part: name.to_owned() }) }
    };
    let mut items = Vec::new();
    if let Some(list) = &part.each {
        for item in words.get(list).and_then(Value::as_array).into_iter().flatten() {
            let mut words = words.clone();
            if let Some(map) = words.as_object_mut() {
                map.insert("item".to_owned(), item.clone());
            }
            items.push(render(env, &title, text, &words)?);
        }
    }
    for item in &part.items {
        items.push(render(env, &title, item, words)?);
    }
    items.retain(|item| !item.is_empty());
    let label = part.label.clone();
    if part.each.is_some() || !part.items.is_empty() {
        if items.is_empty() {
            return empty();
        }
        return Ok(Some(Block::List { label, numbered: part.numbered, items }));
    }
    let text = render(env, &title, text, words)?;
    if text.is_empty() {
        return empty();
    }
    Ok(Some(match part.role.as_str() {
        "headline" => Block::Headline { text },
        role if SMALL.contains(&role) => Block::Small { label, text },
        _ => Block::Line { label, text },
    }))
}

/// No line break between a number and its unit, anywhere in a letter.
fn keep_units(value: &mut Value) {
    match value {
        Value::String(text) => *text = unbroken(text),
        Value::Array(items) => items.iter_mut().for_each(keep_units),
        Value::Object(map) => map.values_mut().for_each(keep_units),
        _ => {}
    }
}

fn render(
    env: &Environment<'_>,
    name: &str,
    source: &str,
    words: &Value,
) -> Result<String, MessageError> {
    let text = env
        .render_named_str(name, source, minijinja::Value::from(minijinja::value::Serde(words)))
        .map_err(|source| template_error(name, source))?;
    Ok(text.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn template_error(part: &str, source: minijinja::Error) -> MessageError {
    MessageError::Template {
        part: part.to_owned(),
        line: source.line().unwrap_or(1),
        source: Box::new(source),
    }
}

fn environment() -> Environment<'static> {
    let mut env = Environment::new();
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env
}
