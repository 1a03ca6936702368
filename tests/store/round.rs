//! A round lands whole or not at all.

use rimeward::adapters::sqlite::Store;
use rimeward::app::ports::*;
use serde_json::json;

use super::letter;
use crate::support::at;

fn open(store: &Store) -> Vec<AlertRecord> {
    let filter = AlertFilter { open: Some(true), ..AlertFilter::default() };
    store.alert_records(&filter).unwrap()
}

fn alert(id: &str, revision: u32, open: bool) -> AlertRecord {
    AlertRecord {
        id: id.to_owned(),
        kind: "freeze".to_owned(),
        boat: Some("B02".into()),
        site: "UPPER".into(),
        open,
        revision,
        raised_at: at("2023-02-02T12:00:00Z"),
        closed_at: (!open).then(|| at("2023-02-05T12:00:00Z")),
        document: json!({"told_chance": 0.42}),
    }
}

fn transition(id: &str, revision: u32, change: &str) -> TransitionRow {
    TransitionRow {
        alert: id.to_owned(),
        revision,
        at: at("2023-02-02T12:00:00Z"),
        change: change.to_owned(),
        decided_on: json!({"seed": 7, "chance": 0.1 + 0.2}),
    }
}

fn round(revision: u32) -> RoundCommit {
    RoundCommit {
        alerts: vec![alert("a", revision, true)],
        transitions: vec![transition("a", revision, "raised")],
        letters: vec![letter("a", revision, "P02")],
        runs: vec![("worklist".to_owned(), at("2023-02-02T11:30:00Z"))],
        ..RoundCommit::default()
    }
}

#[test]
fn a_round_lands_with_its_reasons_and_letters() {
    let store = Store::open_in_memory().unwrap();
    let landed = store.commit_round(&round(1)).unwrap();
    assert_eq!((landed.generation, landed.queued, landed.already_queued), (1, 1, 0));
    assert_eq!(open(&store), [alert("a", 1, true)]);
    assert_eq!(store.alert("a").unwrap(), Some(alert("a", 1, true)));
    assert_eq!(store.transitions("a").unwrap(), [transition("a", 1, "raised")]);
    assert_eq!(store.letters(Some("a")).unwrap()[0].row, letter("a", 1, "P02"));
    assert_eq!(store.last_run("worklist").unwrap(), Some(at("2023-02-02T11:30:00Z")));
    let close = RoundCommit { alerts: vec![alert("a", 2, false)], ..RoundCommit::default() };
    store.commit_round(&close).unwrap();
    assert!(open(&store).is_empty());
    let filter = AlertFilter { boat: Some("B02".into()), ..AlertFilter::default() };
    assert_eq!(store.alert_records(&filter).unwrap(), [alert("a", 2, false)]);
}

#[test]
fn an_alert_that_cannot_be_read_is_named_and_still_listed() {
    let store = Store::open_in_memory().unwrap();
    store.commit_round(&round(1)).unwrap();
    let error = store.open_alerts().unwrap_err();
    assert_eq!(error.to_string(), "the alert a cannot be read");
    assert!(std::error::Error::source(&error).is_some(), "why is lost");
    assert!(store.alerts(&AlertFilter::default()).is_err());
    assert_eq!(open(&store).len(), 1);
}

#[test]
fn a_round_that_fails_at_its_end_leaves_nothing() {
    let store = Store::open_in_memory().unwrap();
    let before = store.dump().unwrap();
    let mut bad = round(1);
    // A transition of an alert that is not there: the reference fails after the alert was written.
    bad.transitions.push(transition("no such alert", 1, "raised"));
    assert!(store.commit_round(&bad).is_err());
    assert_eq!(store.dump().unwrap(), before);
}

#[test]
fn the_same_letter_is_queued_once() {
    let store = Store::open_in_memory().unwrap();
    store.commit_round(&round(1)).unwrap();
    let mut again = round(1);
    again.letters[0].bytes = b"other words".to_vec();
    let landed = store.commit_round(&again).unwrap();
    assert_eq!((landed.queued, landed.already_queued), (0, 1));
    assert_eq!(store.letters(None).unwrap()[0].row.bytes, letter("a", 1, "P02").bytes);
}

#[test]
fn of_two_rounds_decided_on_the_same_state_one_lands() {
    let store = Store::open_in_memory().unwrap();
    let base = store.generation().unwrap();
    let first = RoundCommit { based_on: Some(base), ..round(1) };
    store.commit_round(&first).unwrap();
    let before = store.dump().unwrap();
    let second = RoundCommit { based_on: Some(base), ..round(1) };
    assert_eq!(store.commit_round(&second).unwrap_err().kind(), StoreErrorKind::Overtaken);
    assert_eq!(store.dump().unwrap(), before);
    // And a revision never goes back.
    store.commit_round(&round(3)).unwrap();
    assert_eq!(store.commit_round(&round(2)).unwrap_err().kind(), StoreErrorKind::Overtaken);
}

#[test]
fn a_loop_remembers_when_it_last_did_its_work() {
    let store = Store::open_in_memory().unwrap();
    let (good, bad) = (at("2023-02-02T12:00:00Z"), at("2023-02-02T12:15:00Z"));
    store.put_status("fetch", true, good, "six places").unwrap();
    store.put_status("fetch", false, bad, "no answer").unwrap();
    let status = store.statuses().unwrap().remove(0);
    assert_eq!((status.ok, status.at, status.last_ok), (false, bad, Some(good)));
}

/// That a blend has been slush is known from when it was seen, whatever is read or told apart afterwards.
#[test]
fn slush_is_remembered_of_a_filling() {
    let store = Store::open_in_memory().unwrap();
    let filling = |instance: Option<&str>| Filling {
        boat: "B10".into(),
        circuit: "pot_lines".into(),
        instance: instance.map(str::to_owned),
        since: at("2022-10-19T14:50:00Z"),
    };
    let seen = at("2022-12-26T12:00:00Z");
    let round = RoundCommit { separated: vec![(filling(None), seen)], ..RoundCommit::default() };
    store.commit_round(&round).unwrap();
    store.commit_round(&round).unwrap();
    assert!(store.separated(at("2022-12-26T11:59:00Z")).unwrap().is_empty());
    let known = store.separated(seen).unwrap();
    assert_eq!(known.len(), 1);
    // One outlet was read later: it and the others are told apart, and were one filling.
    assert!(known.contains(&filling(Some("other outlets")).of_the_whole()));
}
