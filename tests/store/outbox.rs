//! Leases, and which letters leave the queue unsent.

use chrono::TimeDelta;
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;

use super::letter;
use crate::support::{TempDir, at};

const NOON: &str = "2023-02-02T12:00:00Z";
const LEASE: TimeDelta = TimeDelta::minutes(5);

fn queue(store: &Store, letters: Vec<OutboxRow>) {
    store.commit_round(&RoundCommit { letters, ..RoundCommit::default() }).unwrap();
}

fn states(store: &Store) -> Vec<OutboxState> {
    store.letters(None).unwrap().iter().map(|posted| posted.state).collect()
}

#[test]
fn a_lease_is_given_once_and_again_when_it_ran_out() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02")]);
    let early = store.lease_due("smtp", at("2023-02-02T11:59:59Z"), 10, LEASE).unwrap();
    assert!(early.letters.is_empty(), "not due yet");
    let first = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap().letters;
    assert_eq!((first.len(), first[0].attempts), (1, 1));
    let held = store.lease_due("smtp", at("2023-02-02T12:04:59Z"), 10, LEASE).unwrap();
    assert!(held.letters.is_empty(), "somebody is sending it");
    let second = store.lease_due("smtp", at("2023-02-02T12:05:00Z"), 10, LEASE).unwrap().letters;
    assert_eq!((second[0].attempts, &second[0].row), (2, &first[0].row));
    // Whoever held the first lease may no longer put it off, but its acceptance counts.
    let later = at("2023-02-02T13:00:00Z");
    let wait = Wait { until: later, fault: None, why: "late" };
    assert!(!store.mark_deferred(first[0].id, 1, &wait, at(NOON)).unwrap());
    assert!(!store.mark_failed(first[0].id, 1, Fault::Other, "late", at(NOON)).unwrap());
    store.mark_sent(first[0].id, "250 ok", at("2023-02-02T12:05:01Z")).unwrap();
    assert!(!store.mark_deferred(first[0].id, 2, &wait, at(NOON)).unwrap());
    assert_eq!(states(&store), [OutboxState::Sent]);
}

#[test]
fn urgent_letters_go_first_and_no_more_than_asked() {
    let store = Store::open_in_memory().unwrap();
    let mut urgent = letter("c", 1, "P02");
    urgent.urgent = true;
    let mut maildir = letter("d", 1, "P02");
    maildir.channel = "maildir".to_owned();
    queue(&store, vec![letter("a", 1, "P02"), letter("b", 1, "P02"), urgent, maildir]);
    let due = store.lease_due("smtp", at(NOON), 2, LEASE).unwrap().letters;
    let alerts: Vec<&str> = due.iter().map(|posted| posted.row.alert.as_str()).collect();
    assert_eq!(alerts, ["c", "a"]);
}

#[test]
fn a_newer_letter_takes_the_place_of_one_that_waits() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02"), letter("a", 1, "P03"), letter("a", 2, "P02")]);
    let due = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap();
    assert_eq!(due.superseded, 1);
    let gone: Vec<(u32, &str)> = due
        .letters
        .iter()
        .map(|posted| (posted.row.revision, posted.row.recipient.as_str()))
        .collect();
    assert_eq!(gone, [(1, "P03"), (2, "P02")]);
}

#[test]
fn a_letter_that_somebody_is_sending_is_not_taken_away() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02")]);
    store.lease_due("smtp", at(NOON), 10, LEASE).unwrap();
    queue(&store, vec![letter("a", 2, "P02")]);
    let due = store.lease_due("smtp", at("2023-02-02T12:01:00Z"), 10, LEASE).unwrap();
    assert_eq!((due.superseded, due.letters.len()), (0, 1));
    // Its sender stopped: by now the newer one was sent.
    store.mark_sent(due.letters[0].id, "250 ok", at("2023-02-02T12:01:01Z")).unwrap();
    let due = store.lease_due("smtp", at("2023-02-02T12:06:00Z"), 10, LEASE).unwrap();
    assert_eq!((due.superseded, due.letters.len()), (1, 0));
}

#[test]
fn a_closing_letter_is_never_superseded_and_a_refused_one_replaces_nothing() {
    let store = Store::open_in_memory().unwrap();
    let mut closing = letter("a", 2, "P02");
    closing.closing = true;
    queue(&store, vec![closing, letter("a", 3, "P02")]);
    queue(&store, vec![letter("b", 1, "P02"), letter("b", 2, "P02")]);
    let due = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap();
    assert_eq!((due.superseded, due.letters.len()), (1, 3));
    // A third reader's newest letter is refused for good: the older words still go when they come back to the queue.
    queue(&store, vec![letter("c", 2, "P04")]);
    let refused = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap().letters;
    assert!(store.mark_failed(refused[0].id, 1, Fault::Size, "552 too big", at(NOON)).unwrap());
    queue(&store, vec![letter("c", 1, "P04")]);
    assert_eq!(store.lease_due("smtp", at(NOON), 10, LEASE).unwrap().letters.len(), 1);
}

#[test]
fn what_nobody_needs_any_more_expires() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02"), letter("a", 2, "P02")]);
    let due = store.lease_due("smtp", at("2023-02-03T12:00:00Z"), 10, LEASE).unwrap();
    assert_eq!((due.letters.len(), due.superseded, due.expired), (0, 0, 2));
    assert_eq!(states(&store), [OutboxState::Expired; 2]);
}

#[test]
fn two_senders_never_hold_the_same_letter() {
    let dir = TempDir::new("senders");
    let path = dir.path().join("rimeward.db");
    let store = Store::open(&path, Options::default()).unwrap();
    queue(&store, (0..200).map(|number| letter(&format!("a{number}"), 1, "P02")).collect());
    let threads: Vec<_> = (0..2)
        .map(|_| {
            let path = path.clone();
            std::thread::spawn(move || {
                let store = Store::open(&path, Options::default()).unwrap();
                let mut held = Vec::new();
                loop {
                    let due = store.lease_due("smtp", at(NOON), 7, LEASE).unwrap().letters;
                    if due.is_empty() {
                        return held;
                    }
                    for letter in due {
                        store.mark_sent(letter.id, "250 ok", at(NOON)).unwrap();
                        held.push(letter.id);
                    }
                }
            })
        })
        .collect();
    let mut held: Vec<i64> = threads.into_iter().flat_map(|t| t.join().unwrap()).collect();
    held.sort_unstable();
    assert_eq!(held, (1..=200).collect::<Vec<i64>>());
}

#[test]
fn counts_say_who_got_what_and_which_address_is_bad() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02"), letter("b", 1, "P02"), letter("a", 1, "P03")]);
    let due = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap().letters;
    store.mark_sent(due[0].id, "250 ok", at(NOON)).unwrap();
    let later = at("2023-02-02T12:30:00Z");
    let wait = Wait { until: later, fault: None, why: "450 busy" };
    assert!(store.mark_deferred(due[1].id, 1, &wait, at(NOON)).unwrap());
    assert!(store.mark_failed(due[2].id, 1, Fault::Address, "550 5.1.1 who", at(NOON)).unwrap());
    let counts = store.message_counts().unwrap();
    assert_eq!((counts[0].sent, counts[0].waiting, counts[1].failed), (1, 1, 1));
    let summary = store.outbox_summary().unwrap();
    assert_eq!(summary.count(OutboxState::Deferred), 1);
    assert_eq!((summary.oldest_waiting, summary.next_due), (Some(at(NOON)), Some(later)));
    let waiting = store.waiting(later).unwrap();
    assert_eq!((waiting.len(), waiting[0].why.as_deref()), (1, Some("450 busy")));
    assert!(store.waiting(at(NOON)).unwrap().is_empty(), "nothing was queued before noon");
    let patience = Patience { urgent: TimeDelta::minutes(30), other: TimeDelta::hours(4) };
    let late = store.undelivered(patience, at(NOON)).unwrap();
    assert_eq!((late.len(), late[0].address.as_str()), (1, "p03@example.org"));
    // The address takes mail again: no longer bad.
    queue(&store, vec![letter("b", 1, "P03")]);
    let due = store.lease_due("smtp", later, 10, LEASE).unwrap().letters;
    for posted in due {
        store.mark_sent(posted.id, "250 ok", later).unwrap();
    }
    assert!(store.undelivered(patience, later).unwrap().is_empty());
}

/// A relay that brings letters back has taken each of them before.
#[test]
fn an_address_from_which_a_letter_came_back_is_bad_until_a_later_one_has_stayed_there_for_days() {
    let store = Store::open_in_memory().unwrap();
    let send = |id: &str, now| {
        queue(&store, vec![letter(id, 1, "P02")]);
        let due = store.lease_due("smtp", now, 10, LEASE).unwrap().letters;
        due.iter().for_each(|posted| store.mark_sent(posted.id, "250 ok", now).unwrap());
        due[0].id
    };
    let patience = Patience { urgent: TimeDelta::minutes(30), other: TimeDelta::hours(4) };
    let late = |now| store.undelivered(patience, now).unwrap();
    let first = send("a", at(NOON));
    let back = at("2023-02-02T12:05:00Z");
    assert!(store.mark_bounced(first, (Fault::Address, "4.4.7 expired"), back).unwrap());
    assert!(!store.mark_bounced(first, (Fault::Address, "4.4.7 expired"), back).unwrap(), "known");
    let later = at("2023-02-02T13:00:00Z");
    send("b", later);
    let found = late(later);
    assert_eq!((found.len(), found[0].cause), (1, Cause::Address));
    assert_eq!(found[0].why, "came back: 4.4.7 expired");
    assert_eq!(late(at("2023-02-05T12:59:00Z")).len(), 1);
    assert!(late(at("2023-02-05T13:00:00Z")).is_empty());
}

#[test]
fn letters_left_on_another_way_out_are_taken_over_those_of_a_dead_sender_too() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02"), letter("b", 1, "P02"), letter("c", 1, "P02")]);
    let leased = store.lease_due("smtp", at(NOON), 1, LEASE).unwrap().letters;
    assert_eq!(leased.len(), 1);
    // The relay is replaced by a Maildir while somebody may still be sending.
    assert_eq!(store.take_over_letters("maildir", at("2023-02-02T12:01:00Z")).unwrap(), 2);
    assert_eq!(store.take_over_letters("maildir", at("2023-02-02T12:05:00Z")).unwrap(), 1);
    let due = store.lease_due("maildir", at("2023-02-02T12:05:00Z"), 10, LEASE).unwrap().letters;
    assert_eq!(due.len(), 3, "nothing is left behind");
}

#[test]
fn the_end_of_what_was_never_told_is_not_told_either_but_that_it_froze_is() {
    let store = Store::open_in_memory().unwrap();
    let later = at("2023-02-02T18:00:00Z");
    let held = |alert: &str| OutboxRow { due_at: later, ..letter(alert, 1, "P02") };
    let closing =
        |alert: &str, urgent| OutboxRow { closing: true, urgent, ..letter(alert, 2, "P02") };
    // Held for the morning or for the yard, and over before it went.
    queue(&store, vec![held("a"), closing("a", false)]);
    let due = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap();
    assert_eq!((due.letters.len(), due.superseded), (0, 2));
    // It has frozen meanwhile: do not start. That goes.
    queue(&store, vec![held("b"), closing("b", true)]);
    let due = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap();
    assert_eq!((due.letters.len(), due.letters[0].row.revision), (1, 2));
    // The first word went: so does the end.
    queue(&store, vec![letter("c", 1, "P02")]);
    let due = store.lease_due("smtp", at(NOON), 10, LEASE).unwrap().letters;
    store.mark_sent(due[0].id, "250 ok", at(NOON)).unwrap();
    queue(&store, vec![closing("c", false)]);
    assert_eq!(store.lease_due("smtp", at(NOON), 10, LEASE).unwrap().letters.len(), 1);
}
