//! The append-only log and its chain.

use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use rusqlite::Connection;

use super::{event, salts};
use crate::support::{TempDir, at};

const NOW: &str = "2022-11-06T12:00:00Z";

#[test]
fn events_come_back_as_they_went_in() {
    let store = Store::open_in_memory().unwrap();
    let mut place = event("E2", "B02");
    place.boat = None;
    place.site = Some("SHED".into());
    place.note = None;
    let events = [event("E1", "B02"), place, event("E3", "B03")];
    let counts = store.append_events(&events, at(NOW), &mut salts()).unwrap();
    assert_eq!(counts, Appended { added: 3, already_there: 0 });
    assert_eq!(store.all_events().unwrap(), events);
    let entries = store.log_entries().unwrap();
    assert_eq!((entries[2].seq, entries[2].entered_at), (3, at(NOW)));
}

#[test]
fn appending_twice_changes_nothing() {
    let store = Store::open_in_memory().unwrap();
    let events = [event("E1", "B02"), event("E2", "B02")];
    store.append_events(&events, at(NOW), &mut salts()).unwrap();
    let (head, dump) = (store.log_head().unwrap(), store.dump().unwrap());
    let again = store.append_events(&events, at("2023-01-01T00:00:00Z"), &mut salts()).unwrap();
    assert_eq!(again, Appended { added: 0, already_there: 2 });
    assert_eq!((store.log_head().unwrap(), store.dump().unwrap()), (head, dump));
}

#[test]
fn the_same_id_with_other_content_is_refused_and_nothing_is_appended() {
    let store = Store::open_in_memory().unwrap();
    store.append_events(&[event("E1", "B02")], at(NOW), &mut salts()).unwrap();
    let mut other = event("E1", "B02");
    other.note = Some("nothing came out".to_owned());
    let error =
        store.append_events(&[event("E2", "B02"), other], at(NOW), &mut salts()).unwrap_err();
    assert_eq!(error.kind(), StoreErrorKind::Input);
    assert!(error.to_string().contains("E1"), "{error}");
    assert_eq!(store.all_events().unwrap().len(), 1);
}

#[test]
fn the_database_itself_refuses_to_edit_the_log() {
    let dir = TempDir::new("edit");
    let path = dir.path().join("rimeward.db");
    let store = Store::open(&path, Options::default()).unwrap();
    store.append_events(&[event("E1", "B02")], at(NOW), &mut salts()).unwrap();
    let other = Connection::open(&path).unwrap();
    for statement in [
        "UPDATE log SET happened_ms = 0",
        "DELETE FROM log",
        "UPDATE log_text SET text = 'dry' WHERE field = 'note'",
        "DELETE FROM log_text",
    ] {
        let error = other.execute(statement, []).unwrap_err().to_string();
        assert!(error.contains("lay-up log"), "{statement}: {error}");
    }
}

#[test]
fn tampering_is_found_at_the_row_where_it_happened() {
    for (statement, row) in [
        ("UPDATE log SET document = replace(document, 'probed', 'measured') WHERE seq = 2", 2),
        ("UPDATE log SET entered_ms = entered_ms - 1 WHERE seq = 3", 3),
        ("UPDATE log SET boat = 'B99' WHERE seq = 2", 2),
        ("DELETE FROM log WHERE seq = 2", 3),
        ("UPDATE log_text SET text = 'dry as a bone' WHERE seq = 3 AND field = 'note'", 3),
        ("UPDATE log_text SET salt = NULL WHERE seq = 2 AND field = 'who'", 2),
        ("DELETE FROM log_text WHERE seq = 1 AND field = 'who'", 1),
        ("INSERT INTO log_text VALUES (1, 'more', '00', 'words', NULL)", 1),
    ] {
        let dir = TempDir::new("tamper");
        let path = dir.path().join("rimeward.db");
        let store = Store::open(&path, Options::default()).unwrap();
        let events = [event("E1", "B02"), event("E2", "B03"), event("E3", "B02")];
        store.append_events(&events, at(NOW), &mut salts()).unwrap();
        assert_eq!(store.verify_log(None).unwrap().first_broken, None);
        let other = Connection::open(&path).unwrap();
        other
            .execute_batch(
                "PRAGMA foreign_keys = OFF; DROP TRIGGER log_never_changes; DROP TRIGGER log_never_forgets;
                 DROP TRIGGER log_text_is_only_erased; DROP TRIGGER log_text_never_forgets;",
            )
            .unwrap();
        assert_eq!(other.execute(statement, []).unwrap(), 1, "{statement}");
        let broken = store.verify_log(None).unwrap().first_broken.expect(statement);
        assert_eq!(broken.seq, row, "{statement}: {}", broken.why);
    }
}

#[test]
fn an_erased_text_leaves_the_chain_whole_and_no_trace_in_the_file() {
    let dir = TempDir::new("erase");
    let path = dir.path().join("rimeward.db");
    let store = Store::open(&path, Options::default()).unwrap();
    let mut private = event("E1", "B02");
    private.who = Some("Quentin Unmistakable".to_owned());
    store.append_events(&[private.clone(), event("E2", "B02")], at(NOW), &mut salts()).unwrap();
    let head = store.log_head().unwrap();
    store.erase_text(&"E1".into(), "who", at("2023-06-01T00:00:00Z")).unwrap();
    let report = store.verify_log(None).unwrap();
    assert_eq!((report.head, report.first_broken), (head, None));
    assert_eq!(store.all_events().unwrap()[0].who, None);
    // Importing the sheet again does not bring the name back.
    let again = store.append_events(&[private], at(NOW), &mut salts()).unwrap();
    assert_eq!(again, Appended { added: 0, already_there: 1 });
    assert_eq!(
        store.erase_text(&"E1".into(), "who", at(NOW)).unwrap_err().kind(),
        StoreErrorKind::Input
    );
    drop(store);
    for file in std::fs::read_dir(dir.path()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        assert!(!bytes.windows(12).any(|part| part == b"Unmistakable"));
    }
}

#[test]
fn the_head_of_one_boat_is_its_own_last_row() {
    let store = Store::open_in_memory().unwrap();
    assert_eq!(store.log_head().unwrap(), "0".repeat(64));
    store.append_events(&[event("E1", "B02")], at(NOW), &mut salts()).unwrap();
    let head = store.log_head().unwrap();
    store.append_events(&[event("E2", "B03")], at(NOW), &mut salts()).unwrap();
    let report = store.verify_log(Some(&"B02".into())).unwrap();
    assert_eq!((report.rows, report.head), (1, head));
}
