//! The one word of an answer that counts.

/// Words beside the one that counts that take nothing back. No "no", "not", "but" or "help": such an answer is for people.
const HARMLESS: [&str; 33] = [
    "all", "and", "best", "cheers", "dear", "desk", "done", "for", "freeze", "from", "good",
    "hello", "hi", "it", "kind", "many", "message", "morning", "my", "ok", "okay", "phone",
    "please", "regards", "seen", "sent", "thank", "thanks", "the", "you", "your", "evening", "now",
];

/// The first word of an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// It has been done: seen, until the record says so too.
    Done,
    /// The yard is to do it.
    Yard,
    /// Later.
    Later,
    /// Seen, and no more.
    Seen,
}

impl Word {
    /// As people write it.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Yard => "yard",
            Self::Later => "later",
            Self::Seen => "seen",
        }
    }

    /// The word that a text begins with.
    #[must_use]
    pub fn first_of(text: &str) -> Option<Self> {
        match words(text).next()?.as_str() {
            "done" | "finished" | "drained" => Some(Self::Done),
            "yard" => Some(Self::Yard),
            "later" | "tomorrow" => Some(Self::Later),
            "seen" | "ok" | "okay" => Some(Self::Seen),
            _ => None,
        }
    }

    /// Does the text say no more than this one word, politeness and the writer's name apart? More than that is for people to
    /// read: "done nothing so far" is not done.
    #[must_use]
    pub fn stands_alone(text: &str, name: &str) -> bool {
        let own: Vec<String> = words(name).collect();
        words(text).skip(1).all(|word| HARMLESS.contains(&word.as_str()) || own.contains(&word))
            && !text.contains('?')
    }
}

/// A text without the politeness and the writer's name at its end.
#[must_use]
pub fn without_greetings<'t>(text: &'t str, name: &str) -> &'t str {
    let own: Vec<String> = words(name).collect();
    let is_mark = |letter: char| !letter.is_alphanumeric();
    let mut rest = text.trim_end_matches(is_mark);
    loop {
        let last = rest.rsplit(is_mark).next().unwrap_or_default();
        let word = last.to_lowercase();
        if last.is_empty() || !(HARMLESS.contains(&word.as_str()) || own.contains(&word)) {
            return rest;
        }
        rest = rest.strip_suffix(last).unwrap_or_default().trim_end_matches(is_mark);
    }
}

fn words(text: &str) -> impl Iterator<Item = String> + '_ {
    let split = text.split(|c: char| !c.is_alphanumeric());
    split.filter(|word| !word.is_empty()).map(str::to_lowercase)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn greetings_at_the_end_are_left_out() {
        let said = |text| without_greetings(text, "Tess Drawbridge");
        assert_eq!(said("Half closed. Thanks, Tess"), "Half closed");
        assert_eq!(said("Second Biscuit: raw! Tess Drawbridge"), "Second Biscuit: raw");
        assert_eq!((said("thanks, Tess"), said("raw, I think")), ("", "raw, I think"));
    }

    #[test]
    fn a_word_counts_where_nothing_takes_it_back() {
        for (text, word, alone) in [
            ("Done", Some(Word::Done), true),
            ("done, thanks. Tess Drawbridge", Some(Word::Done), true),
            ("Seen, thank you", Some(Word::Seen), true),
            ("Done nothing so far - I broke my leg, somebody must go", Some(Word::Done), false),
            ("Later? No, not possible. Send help", Some(Word::Later), false),
            ("ok?", Some(Word::Seen), false),
            ("Yard, I am in Spain", Some(Word::Yard), false),
            ("Thanks, but I am in Spain", None, false),
            ("Yes", None, true),
            ("What does slush mean?", None, false),
        ] {
            assert_eq!(Word::first_of(text), word, "{text}");
            assert_eq!(Word::stands_alone(text, "Tess Drawbridge"), alone, "{text}");
        }
    }
}
