//! Letters into a Maildir.

use std::os::unix::fs::PermissionsExt as _;

use rimeward::adapters::delivery::Maildir;

use crate::support::{TempDir, at};

fn names(folder: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_letter_is_written_once_whatever_the_reader_did_with_it() {
    let dir = TempDir::new("maildir");
    let maildir = Maildir::new(dir.path().join("out"));
    let queued = at("2023-02-02T12:00:00Z");
    let deliver = || maildir.deliver("P02", "a.1@rimeward.example", queued, b"A: b\r\n\r\nc\r\n");
    let (path, new) = deliver().unwrap();
    assert!(new);
    assert_eq!(std::fs::read(&path).unwrap(), b"A: b\r\n\r\nc\r\n");
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o077, 0);
    assert_eq!(deliver().unwrap(), (path.clone(), false));
    // The reader has opened and answered it.
    let name = path.file_name().unwrap().to_str().unwrap();
    let read = dir.path().join("out/cur").join(format!("{name}:2,RS"));
    std::fs::rename(&path, &read).unwrap();
    assert_eq!(deliver().unwrap(), (read, false));
    assert!(names(&dir.path().join("out/new")).is_empty());
    assert!(names(&dir.path().join("out/tmp")).is_empty());
    let (_, new) = maildir.deliver("P02", "a.2@rimeward.example", queued, b"x").unwrap();
    assert!(new, "another letter of the same second");
}

#[test]
fn each_person_can_have_a_folder_and_none_leads_outside() {
    let dir = TempDir::new("maildir");
    let maildir = Maildir { per_recipient: true, ..Maildir::new(dir.path().join("out")) };
    let queued = at("2023-02-02T12:00:00Z");
    maildir.deliver("P02", "a.1@x", queued, b"x").unwrap();
    maildir.deliver("../../P02", "a.1@x", queued, b"x").unwrap();
    assert_eq!(names(dir.path()), ["out"]);
    let people = names(&dir.path().join("out"));
    assert_eq!((people.len(), people[0].as_str()), (2, "P02"));
    assert_eq!(names(&dir.path().join("out/P02/new")).len(), 1);
}
