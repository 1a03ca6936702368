//! The demonstration: the same bytes for the same instant, and a summary that can be relied on.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::{code, json, rimeward, text};
use crate::support::TempDir;
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;

/// Every letter under a Maildir, by its path, with its bytes.
fn letters(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(next) = open.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().display().to_string();
                found.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    found
}

#[test]
fn the_same_instant_gives_the_same_bytes_and_real_letters() {
    let folder = TempDir::new("demo");
    let run = |name: &str| {
        let keep = folder.path().join(name);
        let args = ["demo", "--at", "2022-10-03T06:30", "--json", "--keep", keep.to_str().unwrap()];
        let output = rimeward(None, &args);
        assert_eq!(code(&output), 0, "{}", text(&output));
        (json(&output), letters(&keep.join("Maildir")))
    };
    let ((one, first), (two, second)) = (run("one"), run("two"));
    assert_eq!(first, second);
    assert_eq!(one["worklist"], two["worklist"]);
    assert_eq!(one["rounds"], 56, "hourly from midnight, and the instant itself");
    let counted: u64 = one["messages"]
        .as_object()
        .unwrap()
        .values()
        .flat_map(|kinds| kinds.as_object().unwrap().values())
        .map(|count| count.as_u64().unwrap())
        .sum();
    assert_eq!(counted, first.len() as u64, "every message counted lies in the Maildir");
    assert!(!first.is_empty());
    for bytes in first.values() {
        let letter = std::str::from_utf8(bytes).unwrap();
        assert_eq!(super::lint::faults(letter), Vec::<String>::new(), "{letter}");
        for header in ["From: ", "To: ", "Subject: ", "Date: ", "Message-ID: <", "Auto-Submitted: "]
        {
            assert_eq!(
                letter.matches(&format!("\r\n{header}")).count()
                    + usize::from(letter.starts_with(header)),
                1,
                "{header}"
            );
        }
    }
}

#[test]
fn a_time_outside_the_winter_and_a_full_folder_are_refused() {
    let folder = TempDir::new("demo-refused");
    fs::write(folder.path().join("mine"), "keep").unwrap();
    let taken = folder.path().to_str().unwrap();
    for args in [
        &["demo", "--at", "2024-01-01T06:30"][..],
        &["demo", "--at", "half past six"],
        &["demo", "--keep", taken],
    ] {
        let output = rimeward(None, args);
        assert_eq!(code(&output), 2, "{args:?}: {}", text(&output));
        assert!(output.stdout.is_empty());
    }
    assert_eq!(fs::read_to_string(folder.path().join("mine")).unwrap(), "keep");
}

/// An owner's first letter waits for the yard: it is listed, can be held within its limit by whoever runs the place, gets a
/// word of the yard, and goes.
#[test]
fn the_yard_holds_an_owners_letter_adds_a_word_and_lets_it_go() {
    let folder = TempDir::new("held");
    let keep = folder.path().join("yard");
    let demo = ["demo", "--at", "2022-10-01T09:00", "--json", "--keep", keep.to_str().unwrap()];
    assert_eq!(code(&rimeward(None, &demo)), 0);
    let config = keep.join("rimeward.toml");
    let at = |words: &[&str]| {
        let all = [&["alerts"][..], words, &["--at", "2022-10-01T09:30"]].concat();
        rimeward(Some(&config), &all)
    };
    let held = json(&at(&["held", "--json"]));
    let letter = held["letters"].as_array().unwrap()[0].clone();
    assert_eq!(letter["recipient"], "P10", "{held}");
    let number = letter["letter"].as_i64().unwrap().to_string();
    let hold = |by: &str, until: &str| {
        let words = ["hold", &number, "--until", until, "--reason", "Pat is on it", "--by", by];
        at(&words)
    };
    assert_eq!(code(&hold("P10", "2022-10-01T12:00")), 2, "the owner does not run the place");
    assert_eq!(code(&hold("P51", "2022-10-01T08:00")), 2, "in the past");
    let late = hold("P51", "2022-10-09T08:00");
    assert_eq!(code(&late), 2);
    assert!(text(&late).contains("time left"), "{}", text(&late));
    assert_eq!(code(&hold("P51", "2022-10-01T12:00")), 0);
    let listed = text(&at(&["held"]));
    assert!(listed.contains("Pat is on it") && listed.contains("12:00"), "{listed}");
    let note = "Pat drains her on Monday at nine; <b>call</b> if that does not suit.";
    let release = ["release", &number, "--note", note, "--by", "P51"];
    assert_eq!(code(&at(&release)), 0);
    assert_eq!(code(&at(&release)), 2, "it has gone");
    let store = Store::open(&keep.join("rimeward.sqlite"), Options::default()).unwrap();
    let posted = store.letters(None).unwrap();
    let posted = posted.iter().find(|posted| posted.id.to_string() == number).unwrap();
    let words = String::from_utf8_lossy(&posted.row.bytes).replace("=\r\n", "");
    assert!(words.contains("From the yard"), "{words}");
    assert!(words.contains("Pat drains her on Monday"), "{words}");
    // What a person wrote is text: in the HTML part too.
    let html = words.split("text/html").nth(1).unwrap();
    assert!(html.contains("&lt;b&gt;call") && !html.contains("<b>call"), "{html}");
    assert!(posted.row.due_at <= at_utc("2022-10-01T13:30:00Z"), "{}", posted.row.due_at);
    assert_eq!(posted.row.held.as_ref().unwrap().by.as_ref().unwrap().person.as_str(), "P51");
}

fn at_utc(text: &str) -> chrono::DateTime<chrono::Utc> {
    text.parse().unwrap()
}
