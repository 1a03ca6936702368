//! Every row of `expected.csv`, read as its own notes say, through the intake and the fold.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use rimeward::domain::boat::{BoatState, CircuitState, Evidence, Holds, fold};
use serde::Deserialize;

use super::demo::yard;

#[derive(Debug, Deserialize)]
struct Row {
    boat: String,
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
    circuit: String,
    instance: String,
    holds: String,
    also: String,
    first_ice_c: Option<f64>,
    tolerance_c: Option<f64>,
    evidence: String,
    undone_by: String,
    why: String,
}

/// From this instant on a measured blend may be told up to 10 K warmer: old readings may be discounted.
const DISCOUNT_FROM: &str = "2022-12-24T18:00:00-05:00";
const DISCOUNT_K: f64 = 10.0;

#[test]
fn every_row_of_the_answers_comes_out_right() {
    let yard = yard();
    let mut folded: BTreeMap<(String, DateTime<Utc>, DateTime<Utc>), BoatState> = BTreeMap::new();
    let mut wrong = Vec::new();
    let mut judged = 0;
    let mut reader = csv::Reader::from_reader(&include_bytes!("expected.csv")[..]);
    for row in reader.deserialize() {
        let row: Row = row.unwrap();
        let state = folded.entry((row.boat.clone(), row.at, row.known_at)).or_insert_with(|| {
            let boat = yard.boats.iter().find(|boat| boat.id.as_str() == row.boat).unwrap();
            fold(boat, &yard.sites, &yard.events, row.at, row.known_at, &yard.catalogue)
        });
        judged += 1;
        if let Err(reason) = judge(&row, state) {
            wrong.push(format!(
                "{} {} {} {}#{}: {reason}; expected because: {}",
                row.boat, row.at, row.known_at, row.circuit, row.instance, row.why
            ));
        }
    }
    println!("{judged} rows judged, {} wrong", wrong.len());
    assert!(wrong.is_empty(), "{} of {judged} wrong:\n{}", wrong.len(), wrong.join("\n"));
    assert_eq!(judged, 1004);
}

fn judge(row: &Row, state: &BoatState) -> Result<(), String> {
    let mut circuits: Vec<&CircuitState> =
        state.circuits.iter().filter(|circuit| circuit.circuit.as_str() == row.circuit).collect();
    circuits.sort_by_key(|circuit| protection(circuit));
    match row.instance.as_str() {
        "best" => circuits.drain(..circuits.len().saturating_sub(1)).for_each(drop),
        "least" => circuits.truncate(1),
        "" => {}
        named => circuits.retain(|circuit| circuit.instance.as_deref() == Some(named)),
    }
    if circuits.is_empty() {
        return Err("not there".to_owned());
    }
    circuits.iter().try_for_each(|circuit| judge_circuit(row, circuit))
}

fn protection(circuit: &CircuitState) -> (bool, Evidence, u8) {
    (circuit.holds.is_protected(), circuit.evidence, u8::from(circuit.holds == Holds::Dry))
}

fn judge_circuit(row: &Row, circuit: &CircuitState) -> Result<(), String> {
    let holds = circuit.holds.as_str();
    if holds != row.holds {
        if !row.also.split(';').any(|also| also == holds) {
            return Err(format!("holds {holds} instead of {}: {:?}", row.holds, circuit.because));
        }
        if holds == "coolant" && circuit.first_ice.is_some() {
            return Err("a loop of no known strength has a first ice".to_owned());
        }
        return Ok(());
    }
    if !row.evidence.is_empty()
        && !row.evidence.split('|').any(|word| word == circuit.evidence.as_str())
    {
        return Err(format!("evidence {} instead of {}", circuit.evidence.as_str(), row.evidence));
    }
    if !row.undone_by.is_empty() {
        let by = circuit.undone_by.as_ref().map_or("", |event| event.as_str());
        if !row.undone_by.split('|').any(|event| event == by) {
            return Err(format!("undone by {by:?} instead of {}", row.undone_by));
        }
    }
    judge_first_ice(row, circuit)
}

fn judge_first_ice(row: &Row, circuit: &CircuitState) -> Result<(), String> {
    let told = circuit.first_ice.map(f64::from);
    let always_null =
        matches!(circuit.holds, Holds::Unknown | Holds::Dry | Holds::Absent | Holds::LubeClean);
    if always_null && told.is_some() {
        return Err(format!("first ice {told:?} where there is none"));
    }
    let Some(want) = row.first_ice_c else { return Ok(()) };
    let right = match (row.tolerance_c, told) {
        (None, None) => true,
        (None, Some(told)) => told >= want - 1.0,
        (Some(_), None) => false,
        (Some(tolerance), Some(told)) => {
            let old: DateTime<Utc> = DISCOUNT_FROM.parse().unwrap();
            let discount =
                if row.at >= old && circuit.holds == Holds::Blend { DISCOUNT_K } else { 0.0 };
            told >= want - tolerance && told <= want + tolerance + discount
        }
    };
    if right { Ok(()) } else { Err(format!("first ice {told:?} instead of {want}")) }
}

/// The same answers through the program: its JSON is what others read. Every seventh row, so that each boat and instant is met.
#[test]
fn the_program_gives_the_same_answers() {
    let bench = super::command::Bench::with_demo();
    let mut told: BTreeMap<(String, DateTime<Utc>, DateTime<Utc>), serde_json::Value> =
        BTreeMap::new();
    let mut reader = csv::Reader::from_reader(&include_bytes!("expected.csv")[..]);
    let (mut judged, mut boats) = (0, std::collections::BTreeSet::new());
    for row in reader.deserialize::<Row>().step_by(SAMPLE) {
        let row = row.unwrap();
        let (at, known) = (row.at.to_rfc3339(), row.known_at.to_rfc3339());
        let state = told
            .entry((row.boat.clone(), row.at, row.known_at))
            .or_insert_with(|| bench.json(&["boat", &row.boat, "--at", &at, "--known-at", &known]));
        // Best and least of several is judged by the library above; here are the fields that a program reads.
        if ["best", "least"].contains(&row.instance.as_str()) {
            continue;
        }
        let circuits = state["circuits"].as_array().unwrap().iter();
        let named: Vec<_> = circuits
            .filter(|circuit| circuit["circuit"] == row.circuit.as_str())
            .filter(|circuit| {
                row.instance.is_empty() || circuit["instance"] == row.instance.as_str()
            })
            .collect();
        assert!(!named.is_empty(), "{row:?}");
        for circuit in named {
            let holds = circuit["holds"].as_str().unwrap();
            let right = holds == row.holds || row.also.split(';').any(|also| also == holds);
            assert!(right, "{row:?}: {circuit}");
            if holds != row.holds {
                continue;
            }
            let evidence = circuit["evidence"].as_str().unwrap();
            assert!(
                row.evidence.is_empty() || row.evidence.split('|').any(|e| e == evidence),
                "{row:?}: {circuit}"
            );
            let by = circuit["undone_by"].as_str().unwrap_or_default();
            assert!(
                row.undone_by.is_empty() || row.undone_by.split('|').any(|e| e == by),
                "{row:?}: {circuit}"
            );
        }
        boats.insert(row.boat);
        judged += 1;
    }
    println!("{judged} rows judged through the program, {} boats", boats.len());
    assert_eq!(boats.len(), 12);
}

const SAMPLE: usize = 7;
