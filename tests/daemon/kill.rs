//! `kill -9` at random instants and at named places: nothing is lost, and what goes twice was in hand.

use std::collections::BTreeSet;
use std::os::unix::process::ExitStatusExt as _;
use std::time::Duration;

use chrono::TimeDelta;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use rimeward::adapters::sqlite::Store;
use rimeward::app::ports::*;
use rimeward::daemon::clock::SystemClock;

use super::{Home, relay_on, signal, until};
use crate::support::smtp::SmtpServer;
use crate::world::checks::{alerts_tell_and_close, message_id, same_id_same_bytes};

const CYCLES: u64 = 60;
const LETTERS_A_CYCLE: u64 = 5;
const SEED: u64 = 20_230_204;

fn letter(number: u64) -> OutboxRow {
    let now = SystemClock.now();
    let id = format!("letter-{number}@example.org");
    OutboxRow {
        alert: format!("test-{number}"),
        revision: 1,
        recipient: "P51".into(),
        channel: "smtp".into(),
        step: 0,
        kind: "freeze".into(),
        closing: false,
        urgent: false,
        thread: format!("test-{number}"),
        message_id: id.clone(),
        address: "office@example.org".into(),
        return_path: "bounce@example.org".into(),
        subject: "test".into(),
        bytes: format!(
            "From: <freeze-desk@example.org>\r\nTo: <office@example.org>\r\nMessage-ID: <{id}>\r\nSubject: test\r\n\r\nnumber {number}\r\n"
        )
        .into_bytes(),
        queued_at: now,
        due_at: now,
        expires_at: now + TimeDelta::days(1),
        held: None,
    }
}

pub fn queue(store: &Store, numbers: std::ops::Range<u64>) {
    let letters = numbers.map(letter).collect();
    store.commit_round(&RoundCommit { letters, ..RoundCommit::default() }).unwrap();
}

/// As if the time of the leases had passed: the test has no minutes to wait.
fn let_leases_run_out(home: &Home) {
    let connection = rusqlite::Connection::open(home.path()).unwrap();
    connection.busy_timeout(Duration::from_secs(10)).unwrap();
    connection.execute("UPDATE outbox SET lease_until_ms = 0 WHERE state = 'leased'", []).unwrap();
}

/// What the relay has taken and the store does not know of: only that may go again.
fn in_the_window(store: &Store, relay: &SmtpServer) -> BTreeSet<String> {
    let letters = store.letters(None).unwrap();
    let marked: BTreeSet<&str> = letters
        .iter()
        .filter(|letter| letter.state == OutboxState::Sent)
        .map(|letter| letter.row.message_id.as_str())
        .collect();
    let taken = relay.received().into_iter().map(|message| message_id(&message.bytes));
    taken.filter(|id| !marked.contains(id.as_str())).collect()
}

#[test]
fn a_daemon_killed_at_any_instant_loses_nothing_and_repeats_only_what_was_in_hand() {
    let relay = SmtpServer::start(&[]);
    let home = Home::new("kill", &relay_on(relay.port));
    let mut dice = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let places = ["before_commit", "after_commit", "after_accept_before_mark"];
    let mut window = BTreeSet::new();
    let (mut aborted, mut killed) = (0, 0);
    for cycle in 0..CYCLES {
        queue(&home.store(), cycle * LETTERS_A_CYCLE..(cycle + 1) * LETTERS_A_CYCLE);
        let wait = Duration::from_millis(dice.next_u64() % 400);
        let place = places[usize::try_from(dice.next_u64() % 3).unwrap()];
        let armed = format!("{place}:{}", 1 + dice.next_u64() % 12);
        let environment = if cycle % 2 == 0 { vec![("FAILPOINT", armed.as_str())] } else { vec![] };
        let mut child = home.start(&environment);
        std::thread::sleep(wait);
        let _ = child.kill();
        let status = child.wait().unwrap();
        match status.signal() {
            Some(6) => aborted += 1,
            Some(9) => killed += 1,
            _ => panic!("cycle {cycle}: {status}: {}", home.log()),
        }
        window.extend(in_the_window(&home.store(), &relay));
        let_leases_run_out(&home);
    }
    let mut child = home.start(&[]);
    until("it runs", || home.log().contains("running"));
    until("every letter has gone", || {
        let letters = home.store().letters(None).unwrap();
        letters.iter().all(|letter| letter.state == OutboxState::Sent)
    });
    signal(&child, "TERM");
    assert!(child.wait().unwrap().success(), "{}", home.log());

    let store = home.store();
    store.full_check().unwrap();
    let letters = store.letters(None).unwrap();
    let copies = same_id_same_bytes(&relay);
    let (mut repeats, mut raw) = (0, 0);
    for (id, (count, _)) in &copies {
        raw += count;
        if *count > 1 {
            repeats += count - 1;
            assert!(window.contains(id), "{id} went {count} times and never was in the window");
        }
    }
    for letter in &letters {
        assert!(copies.contains_key(&letter.row.message_id), "{} is lost", letter.row.message_id);
    }
    assert!(letters.len() as u64 >= CYCLES * LETTERS_A_CYCLE);
    alerts_tell_and_close(&store, &letters);
    println!(
        "seed {SEED}: {CYCLES} cycles, {aborted} stopped at a named place, {killed} killed; {} letters, {raw} deliveries, {repeats} repeats, all of {} in the window",
        letters.len(),
        window.len()
    );
    assert!(aborted > 0 && killed > 0);
}

#[test]
fn a_repeat_after_acceptance_before_the_mark_has_the_same_bytes() {
    let relay = SmtpServer::start(&[]);
    let home = Home::new("mark", &relay_on(relay.port));
    queue(&home.store(), 0..1);
    let mut child = home.start(&[("FAILPOINT", "after_accept_before_mark:1")]);
    assert_eq!(child.wait().unwrap().signal(), Some(6), "{}", home.log());
    let in_hand = in_the_window(&home.store(), &relay);
    assert_eq!(in_hand.len(), 1);
    let_leases_run_out(&home);
    let mut child = home.start(&[]);
    until("it runs", || home.log().contains("running"));
    until("every letter has gone", || {
        let letters = home.store().letters(None).unwrap();
        letters.iter().all(|letter| letter.state == OutboxState::Sent)
    });
    signal(&child, "TERM");
    child.wait().unwrap();
    let copies = same_id_same_bytes(&relay);
    for (id, (count, _)) in copies {
        assert_eq!(count, if in_hand.contains(&id) { 2 } else { 1 }, "{id}");
    }
}

#[test]
fn a_stop_during_a_migration_leaves_a_store_that_the_next_start_takes_up() {
    let relay = SmtpServer::start(&[]);
    let home = Home { folder: crate::support::TempDir::new("migration") };
    home.configure(&relay_on(relay.port));
    let mut last = -1;
    loop {
        let mut child = home.start(&[("FAILPOINT", "during_migration:1")]);
        assert_eq!(child.wait().unwrap().signal(), Some(6), "{}", home.log());
        let connection = rusqlite::Connection::open(home.path()).unwrap();
        let layout: i64 =
            connection.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap();
        assert!(layout > last, "layout {layout} after {last}: a step lands whole or not at all");
        last = layout;
        // One step further by the program itself: it stops in the one after, or runs when that was the last.
        let mut child = home.start(&[("FAILPOINT", "during_migration:2")]);
        let mut stopped = None;
        until("it stops or runs", || {
            stopped = child.try_wait().unwrap();
            stopped.is_some() || home.log().contains("running")
        });
        if stopped.is_none() {
            signal(&child, "TERM");
            child.wait().unwrap();
            break;
        }
    }
    let store = home.store();
    assert_eq!(store.layout().unwrap(), rimeward::adapters::sqlite::newest_layout());
    store.full_check().unwrap();
}
