//! The demonstration: the same bytes for the same instant, and a summary that can be relied on.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::{code, json, rimeward, text};
use crate::support::TempDir;

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
