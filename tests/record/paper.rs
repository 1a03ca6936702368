//! The papers: the day sheet, the winter on one page, and the exposure memory on both.

use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use rimeward::domain::boat::{Boat, Exposure};
use rimeward::domain::units::{Celsius, Hours};

use super::command::Bench;
use super::demo::yard;
use crate::support::at;

#[test]
fn every_circuit_of_every_boat_stands_on_its_day_sheet() {
    let (bench, yard) = (Bench::with_demo(), yard());
    for boat in &yard.boats {
        let sheet = bench.json(&["sheet", boat.id.as_str(), "--at", "2022-10-12T18:00"]);
        let parts = sheet["steps"].to_string();
        for circuit in &boat.fitted {
            let label = &yard.catalogue.circuit(circuit).unwrap().label;
            assert!(parts.contains(label.as_str()), "{}: {label} is on no step", boat.id);
        }
    }
}

#[test]
fn the_words_of_a_day_sheet_can_be_typed_back() {
    let (bench, yard) = (Bench::with_demo(), yard());
    for id in ["B02", "B04", "B05", "B06", "B10"] {
        let sheet = bench.json(&["sheet", id, "--at", "2022-10-12T18:00"]);
        for step in sheet["steps"].as_array().unwrap() {
            for line in step["record"].as_array().unwrap() {
                let line = line
                    .as_str()
                    .unwrap()
                    .replace(" --happened ____", "")
                    .replace(" --by ____", "");
                let words = words(&line.replace("circuits=____", "circuits=bilge"));
                let mut words: Vec<&str> = words.iter().map(String::as_str).skip(1).collect();
                words.push("--dry-run");
                let told = bench.run(&words);
                assert!(told.status.success(), "{words:?}: {}", super::command::said(&told));
            }
        }
    }
    assert_eq!(yard.boats.len(), 12);
}

/// As a shell splits a line with double quotes.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut quoted) = (vec![String::new()], false);
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            other => words.last_mut().unwrap().push(other),
        }
    }
    words
}

#[test]
fn a_day_sheet_tells_nobody_to_run_an_engine_and_keeps_coolant_in() {
    let bench = Bench::with_demo();
    let told = bench.text(&["sheet", "B04", "--at", "2022-10-12T18:00"], 0);
    for words in
        ["Only if the engine maker's procedure has a run", "The loop stays full", "2.56 fl oz"]
    {
        assert!(told.contains(words), "{words}: {told}");
    }
    assert!(
        told.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .contains("run the blower at least 4 minutes")
    );
    let twin = bench.text(&["sheet", "B11", "--at", "2022-10-12T18:00"], 0);
    assert!(twin.contains("instance=\"port engine\""), "{twin}");
    let lower = told.to_lowercase();
    for words in ["run the engine", "start the engine and", "!", " safe "] {
        assert!(!lower.contains(words), "{words}: {told}");
    }
}

fn keep(store: &Store, spell: Exposure) {
    let round = RoundCommit { exposures: vec![spell], ..RoundCommit::default() };
    store.commit_round(&round).unwrap();
}

fn spell(boat: &Boat) -> Exposure {
    Exposure {
        boat: boat.id.clone(),
        circuit: "block_raw".into(),
        instance: None,
        from: at("2022-11-19T03:00:00Z"),
        to: at("2022-11-19T13:00:00Z"),
        coldest: Celsius::clamped(-7.5),
        below: Hours::clamped(10.0),
        measured: false,
    }
}

#[test]
fn what_stood_past_its_limit_is_tested_first_until_somebody_looks() {
    let (bench, yard) = (Bench::with_demo(), yard());
    let boat = yard.boats.iter().find(|boat| boat.id.as_str() == "B02").unwrap();
    let store = Store::open(&bench.path("store.sqlite"), Options::default()).unwrap();
    keep(&store, spell(boat));
    // The same spell, longer by now.
    let longer =
        Exposure { to: at("2022-11-19T15:00:00Z"), below: Hours::clamped(12.0), ..spell(boat) };
    keep(&store, longer.clone());
    assert_eq!(store.exposures(Some(&boat.id)).unwrap(), [longer]);
    let shown = |at: &str| bench.text(&["boat", "B02", "--at", at, "--known-at", "2099-01-01"], 0);
    let line = "engine block: past its limit for 12 h from 18 Nov 2022 22:00, coldest air 19 F (-8 C) (forecast, not measured)";
    assert!(shown("2022-12-01T08:00").contains(line), "{}", shown("2022-12-01T08:00"));
    assert!(!shown("2022-11-18T08:00").contains("past its limit"), "not before it happened");
    let page = bench.json(&["winter", "B02", "--at", "2022-12-24T18:00"]);
    assert_eq!(page["nights"][0]["open"], true, "{page}");
    bench.text(
        &["record", "B02", "inspected", "part=block", "--happened", "2022-12-20", "--by", "P52"],
        0,
    );
    assert!(!shown("2022-12-21T08:00").contains("past its limit"), "an inspection clears it");
    assert!(shown("2022-12-01T08:00").contains(line), "from its own day on");
}

#[test]
fn a_winter_stands_on_one_page_with_both_clocks_and_what_it_is_not() {
    let bench = Bench::with_demo();
    let page = bench.json(&["winter", "B02", "--at", "2023-02-02T06:30"]);
    let timeline = page["timeline"].as_array().unwrap();
    let run = timeline.iter().find(|row| row["id"] == "E118").unwrap();
    assert_eq!(
        (&run["happened"], &run["recorded"]),
        (&"12 Nov 2022 10:10".into(), &"14 Nov 2022 09:05".into())
    );
    let early = bench.json(&["winter", "B02", "--at", "2022-11-13T12:00"]);
    let known = early["timeline"].as_array().unwrap();
    assert!(known.iter().all(|row| row["id"] != "E118"), "told two days later");
    assert_eq!(page["chain"]["head"], bench.json(&["verify-log"])["head"]);
    assert!(page["is_not"].to_string().contains("Not a survey, and no statement of cause."));
    let html = bench.path("winter.html");
    bench.text(&["winter", "B02", "--at", "2023-02-02T06:30", "--html", html.to_str().unwrap()], 0);
    let html = std::fs::read_to_string(html).unwrap();
    assert!(
        html.contains("12 Nov 2022 10:10") && html.contains("&quot;phoned the office"),
        "{html}"
    );
    assert!(!html.contains("example.org"), "no addresses on a page that goes to others");
}
