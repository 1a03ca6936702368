//! Every kind of letter, held to the rules of the house.

use std::collections::BTreeSet;

use rimeward::domain::alert::chance::SpokenChance;
use rimeward::domain::message::Phrases;
use rimeward::domain::message::lint::banned_words;

use super::samples::{Sample, all};

fn check(rule: impl Fn(&Sample) -> Result<(), String>) {
    let samples = all();
    assert!(samples.len() >= 18, "{}", samples.len());
    for sample in samples {
        if let Err(why) = rule(&sample) {
            panic!("{}: {why}\n{}\n{}", sample.name, sample.letter.subject, sample.letter.text);
        }
    }
}

fn require(holds: bool, why: impl Into<String>) -> Result<(), String> {
    if holds { Ok(()) } else { Err(why.into()) }
}

/// Numbers, words and signs of a text, in order; white space folded.
fn words(text: &str) -> Vec<String> {
    text.split_whitespace().map(str::to_owned).collect()
}

/// The words of an HTML document as a reader sees them.
pub fn visible(html: &str) -> String {
    let body = html.split("</title>").nth(1).unwrap_or(html);
    let mut out = String::new();
    let mut inside = false;
    for c in body.chars() {
        match c {
            '<' => {
                inside = true;
                out.push(' ');
            }
            '>' => inside = false,
            _ if !inside => out.push(c),
            _ => {}
        }
    }
    for (entity, c) in [
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&quot;", "\""),
        ("&#x27;", "'"),
        ("&#x2f;", "/"),
        ("&amp;", "&"),
    ] {
        out = out.replace(entity, c);
    }
    out.replace('\u{a0}', " ")
}

#[test]
fn subjects_are_short_and_lines_are_wrapped() {
    check(|sample| {
        let letter = &sample.letter;
        require(letter.subject.chars().count() <= 60, "subject over 60")?;
        require(!letter.subject.is_empty(), "no subject")?;
        for line in letter.text.lines() {
            require(line.chars().count() <= 76, format!("over 76: {line}"))?;
        }
        require(letter.html.as_ref().is_some_and(|html| html.len() < 100_000), "HTML over 100 kB")
    });
}

#[test]
fn no_banned_word_no_exclamation_mark_and_few_capitals() {
    let phrases = Phrases::built_in().unwrap();
    check(|sample| {
        let text = format!("{}\n{}", sample.letter.subject, sample.letter.text);
        let banned = banned_words(&phrases, &text);
        require(banned.is_empty(), format!("says {banned:?}"))?;
        require(!text.contains('!'), "exclamation mark")
    });
}

#[test]
fn every_fahrenheit_has_its_celsius_and_they_agree() {
    check(|sample| {
        let text = words(&format!("{} {}", sample.letter.subject, sample.letter.text)).join(" ");
        let mut pairs = 0;
        for (at, _) in text.match_indices(" F (").chain(text.match_indices(" C (")) {
            let before: Vec<&str> = text[..at].rsplitn(3, ' ').collect();
            let difference = text[at..].contains(") colder")
                && text[at..].find(") colder") < Some(14)
                || text[at..].find(") milder").is_some_and(|end| end < 14);
            let first: f64 = before[0].trim_start_matches('(').parse().unwrap();
            let close = text[at..].find(')').unwrap() + at;
            let inner = &text[at + 4..close];
            let last = inner.split(' ').rev().nth(1).unwrap();
            let second: f64 = last.parse().unwrap();
            let (f, c) =
                if text[at..].starts_with(" F") { (first, second) } else { (second, first) };
            let offset = if difference { 0.0 } else { 32.0 };
            // Both are rounded from one value: 0.5 C and 0.5 F apart at most.
            require(
                (c * 1.8 + offset - f).abs() <= 0.9 + 0.5 + 1e-9,
                format!("{f} F is not {c} C near `{}`", &text[at.saturating_sub(20)..close]),
            )?;
            pairs += 1;
        }
        let says_temperature = text.contains("low of") || text.contains("What: a low");
        require(pairs > 0 || !says_temperature, "a low without both scales")
    });
}

#[test]
fn chance_word_number_and_frequency_agree() {
    let phrases: [(&str, &str); 7] = [
        ("very unlikely", "very_unlikely"),
        ("a small chance", "small_chance"),
        ("a chance", "chance"),
        ("about as likely as not", "about_as_likely_as_not"),
        ("likely", "likely"),
        ("very likely", "very_likely"),
        ("almost certain", "almost_certain"),
    ];
    let mut seen = BTreeSet::new();
    for sample in all() {
        let text = words(&sample.letter.text).join(" ");
        let Some(line) = text.split("Chance: ").nth(1) else { continue };
        if line.starts_with("by our reckoning") {
            continue;
        }
        let (word, rest) = line.split_once(", ").unwrap();
        let (number, rest) = rest.split_once(" (").unwrap();
        let frequency = rest.split_once(')').unwrap().0;
        let percent: f64 =
            number.trim_start_matches("over ").trim_end_matches(" %").parse().unwrap();
        let over = if number.starts_with("over") { 0.02 } else { 0.0 };
        let spoken = SpokenChance::of(percent / 100.0 + over);
        let key = phrases.iter().find(|(words, _)| *words == word).unwrap().1;
        assert_eq!((spoken.class.key(), spoken.number()), (key, number.to_owned()), "{line}");
        assert_eq!(spoken.frequency(), frequency, "{line}");
        seen.insert(key);
    }
    assert!(seen.len() >= 2, "{seen:?}");
}

#[test]
fn the_text_says_all_that_the_html_says() {
    check(|sample| {
        let html = words(&visible(sample.letter.html.as_ref().unwrap())).join("");
        // Numbers and dashes of lists are drawn by the reader's program in HTML.
        let mut text = String::new();
        for line in sample.letter.text.lines() {
            let line = line.trim_start();
            let line = line.strip_prefix("- ").unwrap_or(line);
            let digits = line.trim_start_matches(|c: char| c.is_ascii_digit());
            let line = if digits.len() < line.len() {
                digits.strip_prefix(". ").unwrap_or(line)
            } else {
                line
            };
            text.push_str(&words(line).join(""));
        }
        require(html == text, format!("differs:\n{html}\n{text}"))
    });
}

#[test]
fn what_must_be_there_is_there() {
    check(|sample| {
        let (name, text) = (&sample.name, words(&sample.letter.text).join(" "));
        let mut needed = vec!["not an official weather warning", "America/New_York"];
        if name.contains("raise") && !name.contains("blind") || name.contains("update") {
            needed.extend([
                "Chance: ",
                "What: ",
                "Where: ",
                "When: ",
                "What it can do: ",
                "What to do:",
                "do not go",
                "Record says; not verified by us",
                "heater on an unattended boat",
                "Icy decks and ladders",
            ]);
        }
        if name.contains("update") {
            needed.push("Changed: since Thu 17 Nov 08:00");
        }
        if name.contains("close") && !name.contains("blind") {
            needed.extend(["This closes alert freeze-B02-1", "do not start the engine"]);
        }
        if name.contains("mild") {
            needed.extend(["Small parts only", "not about the engine block"]);
        }
        if name.contains("blend") {
            needed.extend(["ETHYLENE GLYCOL", "Carbon monoxide"]);
        }
        if name.contains("frozen") {
            needed.extend(["DO NOT START", "can crack and sink the boat"]);
        }
        if name == "done_partly_close" {
            needed.push("the drinking-water lines still hold water by the record");
        }
        if name == "home_raise" {
            needed.extend([
                "by you or a boatyard",
                "If in doubt ask a boatyard",
                "look after this boat yourself",
            ]);
        }
        if name == "blind_raise_owner" {
            needed.extend(["Do not wait for us", "Second Biscuit: done by Fri 18 Nov 14:40"]);
        }
        if name == "worklist" {
            needed.extend([
                "CANNOT SAY",
                "Head of the log: f3a9c1d2e4b5a697",
                "about 5 in (12 cm) of fresh snow by Fri 07:00",
            ]);
            require(text.matches("fresh snow").count() == 1, "three centimetres hinder nobody")?;
        }
        for words in needed {
            require(text.contains(words), format!("lacks `{words}`"))?;
        }
        Ok(())
    });
}

#[test]
fn nobody_is_asked_to_run_an_engine_or_to_heat() {
    check(|sample| {
        let text = words(&sample.letter.text).join(" ").to_lowercase();
        for phrase in ["run the engine", "start the engine"] {
            for (at, _) in text.match_indices(phrase) {
                let before = &text[at.saturating_sub(12)..at];
                require(before.contains("not "), format!("`{before}{phrase}`"))?;
            }
        }
        require(!text.contains("place a heater") && !text.contains("turn on the heat"), "heat")
    });
}

#[test]
fn updates_refer_to_all_earlier_letters_and_change_the_subject() {
    let samples = all();
    let find = |name: &str| &samples.iter().find(|sample| sample.name == name).unwrap().letter;
    let (raise, update, close) =
        (find("returned_raise"), find("returned_update"), find("returned_close"));
    assert!(raise.references.is_empty() && raise.in_reply_to.is_none());
    assert_eq!(update.references, std::slice::from_ref(&raise.message_id));
    assert_eq!(close.references, [raise.message_id.clone(), update.message_id.clone()]);
    assert_eq!(close.in_reply_to.as_ref(), Some(&update.message_id));
    assert!(raise.subject != update.subject && update.subject != close.subject);
    assert!(update.urgent && !close.urgent);
}

#[test]
fn the_same_inputs_give_the_same_bytes() {
    for (a, b) in all().into_iter().zip(all()) {
        assert_eq!(a.letter, b.letter, "{}", a.name);
    }
}

#[test]
fn a_template_that_does_not_parse_is_refused_with_its_place() {
    let good = include_str!("../../config/catalogue/phrases.toml");
    let bad = good.replace("{{ boat }} is RECORDED", "{{ boat }} is {% if %} RECORDED");
    let refusal = Phrases::parse(&bad).unwrap_err().to_string();
    assert!(refusal.contains("part.done_headline") && refusal.contains("line 1"), "{refusal}");
    let bad = good.replacen("version = 1", "version = 1\nversoin = 2", 1);
    let refusal = Phrases::parse(&bad).unwrap_err().to_string();
    assert!(refusal.contains("line") && refusal.contains("versoin"), "{refusal}");
}
