//! What somebody wrote themselves in an answer: without what they quote, the line that leads it in, and the signature.

/// Letters of an answer that are kept.
const LETTERS_MAX: usize = 2_000;
/// Lines that begin what mail programs put under an answer.
const ENDS: [&str; 3] =
    ["-----Original Message", "________________________________", "Begin forwarded message:"];
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

fn words(text: &str) -> impl Iterator<Item = String> + '_ {
    let split = text.split(|c: char| !c.is_alphanumeric());
    split.filter(|word| !word.is_empty()).map(str::to_lowercase)
}

/// The writer's own lines, one beside the other, up to a length.
#[must_use]
pub fn own_words(body: &str) -> String {
    let mut kept: Vec<&str> = Vec::new();
    for line in body.lines() {
        if ENDS.iter().any(|end| line.starts_with(end)) || line.trim_end() == "--" {
            break;
        }
        let line = line.trim();
        if line.is_empty() || line.starts_with('>') {
            continue;
        }
        // "On Wed, 1 Feb 2023 at 06:35, Freeze desk <...> wrote:", often over two lines.
        if line.ends_with("wrote:") {
            let leads =
                |one: &str| one.starts_with("On ") && one.contains(|c: char| c.is_ascii_digit());
            if !leads(line) && kept.last().is_some_and(|last| leads(last)) {
                kept.pop();
            }
            continue;
        }
        kept.push(line);
    }
    kept.join(" ").chars().take(LETTERS_MAX).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quoted_text_lead_in_and_signature_are_not_own_words() {
        for (body, own) in [
            ("Done.\r\n> Drain by Thursday", "Done."),
            ("> Drain\n\nlater", "later"),
            (
                "On Wed, Feb 1, 2023 at 6:35 AM Desk <d@e> wrote:\n> Drain\n\nDone, all drained.",
                "Done, all drained.",
            ),
            ("On Wed, Feb 1, 2023 at 6:35 AM Desk\n<d@e> wrote:\n> Drain\n\nDone", "Done"),
            ("Seen\n-- \nTess, 12 Quay Street", "Seen"),
            ("Hello Perry,\n\nplease come AT ONCE.", "Hello Perry, please come AT ONCE."),
            ("", ""),
        ] {
            assert_eq!(own_words(body), own, "{body:?}");
        }
        assert_eq!(own_words(&"x ".repeat(9_000)).chars().count(), LETTERS_MAX);
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
