//! Checks of the phrase catalogue that can be made without a telling: every message has its required parts, names exist,
//! cautions have a rule and a source, and no banned word stands in a template.

use super::cautions::RULES;
use super::phrases::Phrases;

/// Signal words that a caution may have.
const SIGNALS: [&str; 3] = ["WARNING", "NOTICE", "NOTE"];

/// Longest WARNING in a short text: with five of them the danger itself must still fit.
const SHORT_LETTERS: usize = 50;

/// Every fault of a catalogue, in words that say what to do; empty: none.
#[must_use]
pub fn catalogue(phrases: &Phrases) -> Vec<String> {
    let mut faults = Vec::new();
    for (name, required) in &phrases.lint.required {
        let Some(message) = phrases.message.get(name) else {
            faults.push(format!("message `{name}` is missing; add [message.{name}]"));
            continue;
        };
        if message.subject.is_empty() {
            faults.push(format!("message `{name}` has no subject; give it one"));
        }
        let mut roles = Vec::new();
        for part in &message.parts {
            match phrases.part.get(part) {
                Some(part) => roles.push(part.role.as_str()),
                None => {
                    faults.push(format!("message `{name}` names part `{part}`; add [part.{part}]"))
                }
            }
        }
        for role in required.iter().filter(|role| !roles.contains(&role.as_str())) {
            faults.push(format!("message `{name}` has no part with the role `{role}`; add one"));
        }
    }
    for caution in &phrases.caution {
        if !RULES.contains(&caution.when.as_str()) {
            faults
                .push(format!("caution rule `{}` is unknown; use one of {RULES:?}", caution.when));
        }
        if !SIGNALS.contains(&caution.signal.as_str()) || caution.source.trim().is_empty() {
            faults.push(format!(
                "caution `{}` needs a signal of {SIGNALS:?} and a source",
                caution.when
            ));
        }
    }
    for caution in phrases.caution.iter().filter(|caution| caution.signal == "WARNING") {
        let short = caution.short.as_deref().unwrap_or_default();
        if short.is_empty() || short.chars().count() > SHORT_LETTERS {
            faults.push(format!(
                "caution `{}` needs a `short` of {SHORT_LETTERS} letters at most, for texts",
                caution.when
            ));
        }
    }
    for rule in RULES.iter().filter(|rule| phrases.caution.iter().all(|c| c.when != **rule)) {
        faults.push(format!("no caution for the rule `{rule}`; add [[caution]] when = \"{rule}\""));
    }
    let texts = phrases.templates().into_iter().chain(phrases.caution.iter().flat_map(|caution| {
        let name = format!("caution {}", caution.when);
        let both = [Some(&caution.text), caution.short.as_ref()];
        both.into_iter().flatten().map(move |text| (name.clone(), text.as_str()))
    }));
    for (name, text) in texts {
        for word in banned_words(phrases, text) {
            faults.push(format!("{name} says `{word}`, which is not to be said; use another word"));
        }
        if text.replace("!=", "").contains('!') {
            faults.push(format!("{name} has an exclamation mark; take it out"));
        }
    }
    faults
}

/// The banned words that stand in a text as whole words, in any case.
#[must_use]
pub fn banned_words(phrases: &Phrases, text: &str) -> Vec<String> {
    let text = text.to_lowercase();
    phrases.lint.banned.iter().filter(|word| has_word(&text, word)).cloned().collect()
}

fn has_word(text: &str, word: &str) -> bool {
    let edge = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric());
    text.match_indices(word).any(|(at, found)| {
        let before = text.get(..at).and_then(|before| before.chars().next_back());
        let after = text.get(at + found.len()..).and_then(|after| after.chars().next());
        edge(before) && edge(after)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_catalogue_that_is_compiled_in_has_no_fault() {
        let phrases = Phrases::built_in().unwrap();
        assert_eq!(catalogue(&phrases), Vec::<String>::new());
    }

    #[test]
    fn a_banned_word_is_found_as_a_word_only() {
        assert!(has_word("this is safe.", "safe"));
        assert!(!has_word("safely, safety", "safe"));
    }
}
