//! A yard's own words in the place of those that are compiled in: a table of the same layout that holds only what it
//! changes. Whatever is wrong with it is said with line and column before a letter is written in it.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;
use toml::{Table, Value};

use super::{BUILT_IN, Phrases, environment};
use crate::domain::message::lint;

/// Keys of a part.
const PART_KEYS: [&str; 8] =
    ["role", "label", "text", "items", "each", "table", "numbered", "optional"];

/// Tables that are not a yard's to change: the version is the program's, and the lint is what its words are held to.
const NOT_THEIRS: [&str; 2] = ["version", "lint"];

impl Phrases {
    /// The catalogue that is compiled in, with what `text` says in its place.
    ///
    /// # Errors
    /// Every fault of `text` in words, with line and column where it has them.
    pub fn with_own(text: &str) -> Result<Self, Vec<String>> {
        let own: Table = toml::from_str(text).map_err(|error| {
            let at = error.span().map_or_else(String::new, |span| place(text, span.start));
            vec![format!("{at}{}", error.message())]
        })?;
        let broken = |error: toml::de::Error| vec![error.message().to_owned()];
        let mut merged: Table = toml::from_str(BUILT_IN).map_err(broken)?;
        let before = Self::built_in().map_err(|error| vec![error.to_string()])?;
        let places = Places::of(text);
        let mut faults = Vec::new();
        for (key, value) in own {
            let path = vec![key.clone()];
            match (key.as_str(), merged.get_mut(&key), value) {
                (key, _, _) if NOT_THEIRS.contains(&key) => {
                    faults.push(places.say(&path, "is not for a yard to change; take it out"));
                }
                ("caution", Some(base), Value::Array(given)) => {
                    put_cautions(base, given, &places, &mut faults);
                }
                (_, Some(base), given) => put(base, given, &path, &places, &mut faults),
                (_, None, _) => {
                    let known: Vec<&str> = merged.keys().map(String::as_str).collect();
                    let known = known.join(", ");
                    faults.push(places.say(&path, &format!("is no table here; there are {known}")));
                }
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut phrases = Self::deserialize(Value::Table(merged)).map_err(broken)?;
        phrases.own = true;
        phrases.deeds = before.deeds.clone();
        faults.extend(template_faults(&phrases, &before, text, &places));
        faults.extend(lint::catalogue(&phrases));
        if faults.is_empty() { Ok(phrases) } else { Err(faults) }
    }
}

/// Puts `given` in the place of `base`, table by table.
fn put(base: &mut Value, given: Value, path: &[String], places: &Places, faults: &mut Vec<String>) {
    let (Value::Table(base), Value::Table(given)) = (&mut *base, &given) else {
        if base.same_type(&given) {
            *base = given;
        } else {
            let (is, wanted) = (given.type_str(), base.type_str());
            faults.push(places.say(path, &format!("is {is}, where {wanted} is wanted")));
        }
        return;
    };
    for (key, value) in given {
        let mut path = path.to_vec();
        path.push(key.clone());
        let new_part = matches!(path.as_slice(), [part, _] if part == "part");
        let of_a_part = matches!(path.as_slice(), [part, _, key] if part == "part" && PART_KEYS.contains(&key.as_str()));
        match base.get_mut(key) {
            Some(base) => put(base, value.clone(), &path, places, faults),
            None if new_part && value.get("role").and_then(Value::as_str).is_none() => {
                faults.push(places.say(&path, "is a new part and has no role; give it one"));
            }
            None if new_part || of_a_part => {
                base.insert(key.clone(), value.clone());
            }
            None => {
                let known: Vec<&str> = base.keys().map(String::as_str).collect();
                let known = known.join(", ");
                faults.push(places.say(&path, &format!("is no phrase here; there are {known}")));
            }
        }
    }
}

/// Cautions are known by the rule that attaches them: words may change, and none can be left out.
fn put_cautions(base: &mut Value, given: Vec<Value>, places: &Places, faults: &mut Vec<String>) {
    let path = ["caution".to_owned()];
    let base = base.as_array_mut().map(Vec::as_mut_slice).unwrap_or_default();
    for one in given {
        let when = one.get("when").and_then(Value::as_str).unwrap_or_default().to_owned();
        let same = |of: &&mut Value| of.get("when").and_then(Value::as_str) == Some(&when);
        match (base.iter_mut().find(same), one) {
            (Some(Value::Table(base)), Value::Table(one)) => base.extend(one),
            _ => faults.push(places.say(
                &path,
                &format!("has one for `{when}`, which is no rule; write when = \"...\" with one that the catalogue has"),
            )),
        }
    }
}

/// Own templates that do not parse, or that name what their message does not have.
fn template_faults(
    phrases: &Phrases,
    before: &Phrases,
    text: &str,
    places: &Places,
) -> Vec<String> {
    let env = environment();
    let known: BTreeSet<(String, &str)> = before.templates().into_iter().collect();
    let mut faults = Vec::new();
    for (name, source) in phrases.templates() {
        if known.contains(&(name.clone(), source)) {
            continue;
        }
        let path: Vec<String> = name.split('.').map(str::to_owned).collect();
        let at = |within: usize| match text.find(source) {
            Some(start) => place(text, start + within),
            None => places.line(&path),
        };
        match env.template_from_named_str(&name, source) {
            Err(error) => {
                let within = error.range().map_or(0, |range| range.start);
                let what = error.detail().unwrap_or("it does not parse").to_owned();
                faults.push(format!("{}`{name}`: {what}", at(within)));
            }
            Ok(template) => {
                let known = names_for(before, phrases, &name);
                let unknown: Vec<String> = template
                    .undeclared_variables(true)
                    .into_iter()
                    .filter(|used| !known.contains(used))
                    .collect();
                for used in unknown {
                    let near = known.iter().cloned().collect::<Vec<_>>().join(", ");
                    let within = source.find(&used).unwrap_or(0);
                    faults.push(format!(
                        "{}`{name}` names `{used}`, which is not there; there are {near}",
                        at(within)
                    ));
                }
            }
        }
    }
    faults
}

/// What a template may name: what the catalogue's own templates name in every message in which it stands.
fn names_for(before: &Phrases, phrases: &Phrases, name: &str) -> BTreeSet<String> {
    let env = environment();
    let mut by_name: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (name, source) in before.templates() {
        let Ok(template) = env.template_from_named_str(&name, source) else { continue };
        let used = template.undeclared_variables(true);
        by_name.entry(name.clone()).or_default().extend(used);
    }
    let of = |name: &str| by_name.get(name).cloned().unwrap_or_default();
    let of_message = |message: &str| {
        let parts = before.message.get(message).map(|message| message.parts.as_slice());
        let parts = parts.unwrap_or_default().iter().flat_map(|part| of(&format!("part.{part}")));
        let subject = of(&format!("message.{message}.subject"));
        let short = of(&format!("message.{message}.short"));
        parts.chain(subject).chain(short).collect::<BTreeSet<String>>()
    };
    let of_one =
        |n: &'static str| name.strip_prefix("message.").and_then(|name| name.strip_suffix(n));
    if let Some(message) = of_one(".subject").or_else(|| of_one(".short")) {
        return of_message(message);
    }
    let part = name.strip_prefix("part.").unwrap_or(name);
    let stands_in =
        phrases.message.iter().filter(|(_, message)| message.parts.iter().any(|p| p == part));
    let shared = stands_in
        .map(|(message, _)| of_message(message))
        .reduce(|a, b| a.intersection(&b).cloned().collect())
        .unwrap_or_default();
    shared.union(&of(name)).cloned().collect()
}

/// `line 3, column 7: ` of a place in a text.
fn place(text: &str, offset: usize) -> String {
    let before = text.get(..offset).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
    format!("line {line}, column {column}: ")
}

/// On which line each key of the own table stands.
struct Places(BTreeMap<Vec<String>, usize>);

impl Places {
    /// Reads the lines as they are written: headers in brackets, and a key before an equals sign.
    fn of(text: &str) -> Self {
        let mut lines = BTreeMap::new();
        let mut table: Vec<String> = Vec::new();
        for (number, line) in (1..).zip(text.lines()) {
            let line = line.trim();
            let bare = |key: &str| key.trim().trim_matches(['"', '\'']).to_owned();
            if let Some(header) = line.strip_prefix('[') {
                let header = header.trim_start_matches('[').split(']').next().unwrap_or_default();
                table = header.split('.').map(bare).collect();
                lines.entry(table.clone()).or_insert(number);
            } else if let Some((key, _)) = line.split_once('=') {
                let path = table.iter().cloned().chain(key.split('.').map(bare));
                lines.entry(path.collect()).or_insert(number);
            }
        }
        Self(lines)
    }

    fn line(&self, path: &[String]) -> String {
        let known = (1..=path.len()).rev().find_map(|to| self.0.get(path.get(..to)?));
        known.map_or_else(String::new, |line| format!("line {line}: "))
    }

    fn say(&self, path: &[String], what: &str) -> String {
        format!("{}`{}` {what}", self.line(path), path.join("."))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str) -> Vec<String> {
        Phrases::with_own(text).err().unwrap_or_default()
    }

    #[test]
    fn own_words_stand_in_the_place_of_those_compiled_in_and_nothing_else_changes() {
        let phrases = Phrases::with_own("[holds]\nfresh = \"sweet water\"\n").unwrap();
        assert!(phrases.own);
        assert_eq!(phrases.word(super::super::Table::Holds, "fresh"), "sweet water");
        assert_eq!(phrases.word(super::super::Table::Holds, "sea"), "salt water");
        assert!(!Phrases::built_in().unwrap().own);
    }

    #[test]
    fn every_fault_is_said_with_its_line() {
        let said = faults("[holds]\nfrsh = \"x\"\n\n[lint]\nbanned = []\n\n[evidence]\nnone = 3\n");
        assert_eq!(said.len(), 3, "{said:?}");
        assert!(said.iter().any(|f| f.starts_with("line 2: `holds.frsh`")), "{said:?}");
        assert!(said.iter().any(|f| f.starts_with("line 4: `lint`")), "{said:?}");
        assert!(said.iter().any(|f| f.starts_with("line 8: `evidence.none`")), "{said:?}");
        assert!(faults("[part.act]\ntext = \"x\"\n")[0].starts_with("line 1: `part.act`"));
        assert!(faults("[holds\n")[0].starts_with("line 1, column "), "{:?}", faults("[holds\n"));
    }

    #[test]
    fn a_caution_can_be_put_in_other_words_and_not_taken_away() {
        let built_in = Phrases::built_in().unwrap();
        let first = &built_in.caution[0];
        let own = format!("[[caution]]\nwhen = \"{}\"\ntext = \"Mind the step.\"\n", first.when);
        let phrases = Phrases::with_own(&own).unwrap();
        assert_eq!(phrases.caution.len(), built_in.caution.len());
        assert_eq!(phrases.caution[0].text, "Mind the step.");
        assert_eq!(phrases.caution[0].signal, first.signal);
        assert_eq!(faults("[[caution]]\nwhen = \"never\"\ntext = \"x\"\n").len(), 1);
    }

    #[test]
    fn a_template_that_does_not_parse_or_names_what_is_not_there_is_refused_with_its_place() {
        let built_in = Phrases::built_in().unwrap();
        let (name, part) = built_in.part.iter().find(|(_, part)| part.text.is_some()).unwrap();
        assert!(part.text.is_some());
        let broken = faults(&format!("[part.{name}]\ntext = \"go {{% if %}}\"\n"));
        assert!(broken[0].starts_with("line 2, column "), "{broken:?}");
        let unknown = faults(&format!("[part.{name}]\n\ntext = \"go {{{{ nowhere.at.all }}}}\"\n"));
        assert!(unknown[0].contains("nowhere.at.all"), "{unknown:?}");
        assert!(unknown[0].starts_with("line 3, column "), "{unknown:?}");
    }

    #[test]
    fn what_the_lint_refuses_is_refused() {
        assert!(!faults("[message.worklist]\nparts = []\n").is_empty());
    }
}
