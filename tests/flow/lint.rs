//! The lint of what is asked, over letters and texts as they lie in a mailbox: no sentence opens or empties what holds coolant,
//! oil or acid, what is frozen, or what keeps the sea out of a boat afloat.

use rimeward::domain::catalogue::{Catalogue, Deeds};
use rimeward::domain::catalogue::{DeedBoat, Holds};

use crate::message::deeds::order;

/// Words for what is tested, looked at or measured, and never let out.
const STAYS: [&str; 4] = ["coolant", "gear oil", "battery", "trim and tilt"];

/// The text part of a letter without its transfer coding, on one line.
fn plain(mail: &str) -> String {
    let body = mail.split("text/plain").nth(1).unwrap_or(mail);
    let body = body.split("text/html").next().unwrap_or(body);
    let joined = body.replace("=\r\n", "").replace("=20", " ").replace("=3D", "=");
    joined.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What a letter tells people to do: its head and its list, without cautions and without what the record says.
fn asked(text: &str) -> String {
    // Cautions come after what is asked, and speak of things that nobody is asked for.
    let cut = ["WARNING:", "NOTICE:", "NOTE:"].iter().filter_map(|mark| text.find(mark)).min();
    let text = &text[..cut.unwrap_or(text.len())];
    let head = text.split("Chance:").next().unwrap_or(text);
    let todo = text.split("What to do:").nth(1).unwrap_or_default();
    format!("{head}. {}", todo.split("Who:").next().unwrap_or(todo))
}

/// Everything in one mail that must not be asked.
pub fn faults(mail: &str) -> Vec<String> {
    let (catalogue, deeds) = (Catalogue::built_in().unwrap(), Deeds::built_in().unwrap());
    let text = plain(mail);
    let mut found = Vec::new();
    for words in ["parts above", "let out what", "drain parts", "everything drained"] {
        found.extend(text.contains(words).then(|| format!("says `{words}`")));
    }
    let afloat = text.contains(", afloat.");
    let boat = DeedBoat { afloat: true, cooling: None };
    let below = catalogue
        .circuits()
        .iter()
        .filter(|kind| afloat && deeds.of(&kind.id, Holds::Unknown, boat, false).is_hands_off());
    let closed: Vec<&str> = below.map(|kind| kind.label.as_str()).chain(STAYS).collect();
    for sentence in asked(&text).split(['.', ';']) {
        let sentence = sentence.trim_start_matches(|c: char| !c.is_alphabetic());
        let frozen = sentence.contains("frozen") || sentence.contains("no start");
        let named = closed.iter().find(|part| sentence.contains(*part));
        let what = named.copied().or(frozen.then_some("frozen"));
        if let (Some(part), Some(order)) = (what, order(&sentence.replace(what.unwrap_or(""), "")))
        {
            found.push(format!("{order} {part}: {sentence}"));
        }
    }
    found
}

#[test]
fn planted_faults_are_found() {
    for (mail, part) in [
        ("What to do: 1. Have the parts above drained.", "parts above"),
        ("What to do: 1. Drain the engine coolant by Sat.", "coolant"),
        ("What to do: 1. Empty the engine block and gear oil of the drive.", "gear oil"),
        ("Where: Fog Lantern, afloat. What to do: 1. Drain the seacocks.", "seacocks"),
        ("What to do: 1. What is frozen: open its drains.", "frozen"),
    ] {
        let found = faults(mail);
        assert!(found.iter().any(|fault| fault.contains(part)), "{mail}: {found:?}");
    }
    for mail in [
        "Where: Fog Lantern. What to do: 1. Drain the engine block. 2. Have the engine coolant tested.",
        "Where: Fog Lantern, afloat. What to do: 1. Call the yard about the seacocks.",
    ] {
        assert_eq!(faults(mail), Vec::<String>::new());
    }
}
