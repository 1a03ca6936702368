//! Opening, migrating, refusing.

use std::os::unix::fs::PermissionsExt as _;
use std::time::Duration;

use rimeward::adapters::sqlite::{Options, Store, newest_layout};
use rimeward::app::ports::*;
use rusqlite::Connection;

use super::{event, letter, salts};
use crate::support::{TempDir, at};

#[test]
fn a_new_store_is_private_and_of_the_newest_layout() {
    let dir = TempDir::new("open");
    let path = dir.path().join("rimeward.db");
    let store = Store::open(&path, Options::default()).unwrap();
    assert_eq!(store.layout().unwrap(), newest_layout());
    store.quick_check().unwrap();
    store.full_check().unwrap();
    for name in ["rimeward.db", "rimeward.db-wal", "rimeward.db-shm"] {
        let mode = std::fs::metadata(dir.path().join(name)).unwrap().permissions().mode();
        assert_eq!(mode & 0o077, 0, "{name} is open to others: {mode:o}");
    }
    drop(store);
    let again = Store::open(&path, Options::default()).unwrap();
    assert_eq!(again.layout().unwrap(), newest_layout());
}

#[test]
fn a_store_of_the_first_layout_is_brought_forward_with_what_is_in_it() {
    let dir = TempDir::new("forward");
    let path = dir.path().join("old.db");
    let old = Connection::open(&path).unwrap();
    old.execute_batch(include_str!("../../src/adapters/sqlite/migrations/0001_yard_and_log.sql"))
        .unwrap();
    old.execute("INSERT INTO site VALUES ('X', '{}')", []).unwrap();
    old.pragma_update(None, "user_version", 1).unwrap();
    drop(old);
    let store = Store::open(&path, Options::default()).unwrap();
    assert_eq!(store.layout().unwrap(), newest_layout());
    assert!(store.dump().unwrap().contains("site: id=\"X\" document=\"{}\""));
}

#[test]
fn a_store_from_a_newer_version_is_refused_and_left_as_it_was() {
    let dir = TempDir::new("newer");
    let path = dir.path().join("new.db");
    drop(Store::open(&path, Options::default()).unwrap());
    let other = Connection::open(&path).unwrap();
    other.pragma_update(None, "user_version", newest_layout() + 1).unwrap();
    drop(other);
    let before = std::fs::read(&path).unwrap();
    let error = Store::open(&path, Options::default()).unwrap_err();
    assert_eq!(error.kind(), StoreErrorKind::Newer);
    assert!(error.to_string().contains("install the newer version"), "{error}");
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn a_file_that_is_no_store_is_refused_with_words() {
    let dir = TempDir::new("noise");
    let path = dir.path().join("notes.txt");
    std::fs::write(&path, "this is a shopping list, and a long one at that\n".repeat(40)).unwrap();
    let error = Store::open(&path, Options::default()).unwrap_err();
    assert_eq!(error.kind(), StoreErrorKind::Other);
    assert!(error.to_string().contains("damaged"), "{error}");
}

#[test]
fn a_missing_folder_is_said_in_words() {
    let dir = TempDir::new("missing");
    let error = Store::open(&dir.path().join("not/there.db"), Options::default()).unwrap_err();
    assert_eq!(error.kind(), StoreErrorKind::Unreachable);
    assert!(error.to_string().contains("not/there.db"), "{error}");
}

#[test]
fn a_writer_that_holds_the_store_is_reported_as_locked() {
    let dir = TempDir::new("locked");
    let path = dir.path().join("rimeward.db");
    let options = Options { busy_timeout: Duration::from_millis(50), ..Options::default() };
    let store = Store::open(&path, options).unwrap();
    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error =
        store.put_status("judge", true, at("2023-02-02T12:00:00Z"), "twelve boats").unwrap_err();
    assert_eq!(error.kind(), StoreErrorKind::Locked);
    // Readers are not held up.
    assert!(store.boats().unwrap().is_empty());
    other.execute_batch("ROLLBACK").unwrap();
    store.put_status("judge", true, at("2023-02-02T12:00:00Z"), "twelve boats").unwrap();
    assert_eq!(store.statuses().unwrap().len(), 1);
}

/// The measured reason for `BEGIN IMMEDIATE`: with a plain `BEGIN`, writers that read first lose many transactions.
#[test]
fn four_writers_on_one_file_lose_nothing() {
    let dir = TempDir::new("writers");
    let path = dir.path().join("rimeward.db");
    drop(Store::open(&path, Options::default()).unwrap());
    let threads: Vec<_> = (0..4)
        .map(|writer| {
            let path = path.clone();
            std::thread::spawn(move || {
                let store = Store::open(&path, Options::default()).unwrap();
                for number in 0..25 {
                    let event = event(&format!("E{writer}-{number}"), "B02");
                    let counts = store
                        .append_events(&[event], at("2022-11-06T12:00:00Z"), &mut salts())
                        .unwrap();
                    assert_eq!(counts.added, 1);
                }
            })
        })
        .collect();
    for thread in threads {
        thread.join().unwrap();
    }
    let report = Store::open(&path, Options::default()).unwrap().verify_log(None).unwrap();
    assert_eq!((report.rows, report.first_broken), (100, None));
}

#[test]
fn a_backup_is_whole_and_restores_what_was_there() {
    let dir = TempDir::new("backup");
    let store = Store::open(&dir.path().join("rimeward.db"), Options::default()).unwrap();
    store.append_events(&[event("E1", "B02")], at("2022-11-06T12:00:00Z"), &mut salts()).unwrap();
    let copy = dir.path().join("copy.db");
    store.backup(&copy).unwrap();
    assert_eq!(std::fs::metadata(&copy).unwrap().permissions().mode() & 0o077, 0);
    let then = store.dump().unwrap();
    store.append_events(&[event("E2", "B02")], at("2022-11-06T12:00:00Z"), &mut salts()).unwrap();
    assert_ne!(store.dump().unwrap(), then);
    assert_eq!(store.backup(&copy).unwrap_err().kind(), StoreErrorKind::Input);
    store.restore(&copy).unwrap();
    assert_eq!(store.dump().unwrap(), then);
    store.full_check().unwrap();
    // The restored store goes on.
    store.append_events(&[event("E2", "B02")], at("2022-11-06T12:00:00Z"), &mut salts()).unwrap();
    assert_eq!(store.verify_log(None).unwrap().rows, 2);
}

#[test]
fn a_backup_that_is_no_store_restores_nothing() {
    let dir = TempDir::new("restore");
    let store = Store::open(&dir.path().join("rimeward.db"), Options::default()).unwrap();
    let before = store.dump().unwrap();
    let empty = dir.path().join("empty.db");
    Connection::open(&empty).unwrap().execute_batch("CREATE TABLE t (a)").unwrap();
    assert!(store.restore(&empty).unwrap_err().to_string().contains("no store of this service"));
    assert_eq!(store.dump().unwrap(), before);
}

#[test]
fn the_same_deeds_give_the_same_dump() {
    let deeds = || {
        let store = Store::open_in_memory().unwrap();
        let now = at("2022-11-06T12:00:00Z");
        store.append_events(&[event("E1", "B02"), event("E2", "B03")], now, &mut salts()).unwrap();
        let round = rimeward::app::ports::RoundCommit {
            letters: (1..12).map(|revision| letter("a", revision, "P02")).collect(),
            ..Default::default()
        };
        store.commit_round(&round).unwrap();
        store.dump().unwrap()
    };
    let dump = deeds();
    assert_eq!(dump, deeds());
    let (tenth, second) = (dump.find("outbox: id=10 "), dump.find("outbox: id=2 "));
    assert!(second.is_some() && second < tenth, "rows stand in the order of their numbers");
}
