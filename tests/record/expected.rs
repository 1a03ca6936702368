//! Every row of `expected.csv`, read as its own notes say, through the intake and the fold, and through the program.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use rimeward::domain::boat::{CircuitState, Evidence, Holds, fold};
use serde::Deserialize;
use serde_json::Value;

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

/// What the record says of a circuit, as the library or the program tells it.
struct Told {
    circuit: String,
    instance: Option<String>,
    holds: Holds,
    evidence: Evidence,
    first_ice_c: Option<f64>,
    undone_by: String,
    because: String,
}

impl Told {
    fn by_library(circuit: &CircuitState) -> Self {
        Self {
            circuit: circuit.circuit.to_string(),
            instance: circuit.instance.clone(),
            holds: circuit.holds,
            evidence: circuit.evidence,
            first_ice_c: circuit.first_ice.map(f64::from),
            undone_by: circuit.undone_by.as_ref().map_or("", |event| event.as_str()).to_owned(),
            because: format!("{:?}", circuit.because),
        }
    }

    fn by_program(circuit: &Value) -> Self {
        let text = |key: &str| circuit[key].as_str().map(str::to_owned);
        Self {
            circuit: text("circuit").unwrap(),
            instance: text("instance"),
            holds: serde_json::from_value(circuit["holds"].clone()).unwrap(),
            evidence: serde_json::from_value(circuit["evidence"].clone()).unwrap(),
            first_ice_c: circuit["first_ice_c"].as_f64(),
            undone_by: text("undone_by").unwrap_or_default(),
            because: circuit["because"].to_string(),
        }
    }
}

type Key = (String, DateTime<Utc>, DateTime<Utc>);

/// Judges every row by what `tell` says of its boat at its instant.
fn judge_all(who: &str, mut tell: impl FnMut(&Row) -> Vec<Told>) {
    let mut told: BTreeMap<Key, Vec<Told>> = BTreeMap::new();
    let mut wrong = Vec::new();
    let mut judged = 0;
    let mut reader = csv::Reader::from_reader(&include_bytes!("expected.csv")[..]);
    for row in reader.deserialize() {
        let row: Row = row.unwrap();
        let key = (row.boat.clone(), row.at, row.known_at);
        let circuits = told.entry(key).or_insert_with(|| tell(&row));
        judged += 1;
        if let Err(reason) = judge(&row, circuits) {
            wrong.push(format!(
                "{} {} {} {}#{}: {reason}; expected because: {}",
                row.boat, row.at, row.known_at, row.circuit, row.instance, row.why
            ));
        }
    }
    println!("{who}: {judged} rows judged, {} wrong", wrong.len());
    assert!(wrong.is_empty(), "{} of {judged} wrong:\n{}", wrong.len(), wrong.join("\n"));
    assert_eq!(judged, 1004);
}

#[test]
fn every_row_of_the_answers_comes_out_right() {
    let yard = yard();
    judge_all("library", |row| {
        let boat = yard.boats.iter().find(|boat| boat.id.as_str() == row.boat).unwrap();
        let state = fold(boat, &yard.sites, &yard.events, row.at, row.known_at, &yard.catalogue);
        state.circuits.iter().map(Told::by_library).collect()
    });
}

/// The same through the command line: its JSON is what others read.
#[test]
fn the_program_gives_the_same_answers() {
    let bench = super::command::Bench::with_demo();
    judge_all("program", |row| {
        let (at, known) = (row.at.to_rfc3339(), row.known_at.to_rfc3339());
        let state = bench.json(&["boat", &row.boat, "--at", &at, "--known-at", &known]);
        state["circuits"].as_array().unwrap().iter().map(Told::by_program).collect()
    });
}

fn judge(row: &Row, told: &[Told]) -> Result<(), String> {
    let mut circuits: Vec<&Told> =
        told.iter().filter(|circuit| circuit.circuit == row.circuit).collect();
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

fn protection(circuit: &Told) -> (bool, Evidence, u8) {
    (circuit.holds.is_protected(), circuit.evidence, u8::from(circuit.holds == Holds::Dry))
}

fn judge_circuit(row: &Row, circuit: &Told) -> Result<(), String> {
    let holds = circuit.holds.as_str();
    if holds != row.holds {
        if !row.also.split(';').any(|also| also == holds) {
            return Err(format!("holds {holds} instead of {}: {}", row.holds, circuit.because));
        }
        if holds == "coolant" && circuit.first_ice_c.is_some() {
            return Err("a loop of no known strength has a first ice".to_owned());
        }
        return Ok(());
    }
    if !row.evidence.is_empty()
        && !row.evidence.split('|').any(|word| word == circuit.evidence.as_str())
    {
        return Err(format!("evidence {} instead of {}", circuit.evidence.as_str(), row.evidence));
    }
    let by = &circuit.undone_by;
    if !row.undone_by.is_empty() && !row.undone_by.split('|').any(|event| event == by) {
        return Err(format!("undone by {by:?} instead of {}", row.undone_by));
    }
    judge_first_ice(row, circuit)
}

fn judge_first_ice(row: &Row, circuit: &Told) -> Result<(), String> {
    let told = circuit.first_ice_c;
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
