//! The fold from a log to states, against reading the same states where they are kept as JSON, in the same run: whether
//! keeping folded states would help, and whether time grows with the log as it should.
//!
//! `cargo bench --bench fold -- [BOATS EVENTS THREADS]`, by default 100000 20 2. Prints one JSON document: the whole
//! fleet, and one boat with 200, 2,000 and 20,000 entries.

#![expect(clippy::unwrap_used, reason = "a benchmark may stop at the first surprise")]

use std::hint::black_box;
use std::time::Instant;

use chrono::{DateTime, FixedOffset, TimeDelta, Utc};
use rimeward::domain::boat::{
    Boat, BoatState, Care, CoolingKind, DrainPermission, Evidence, LayupEvent, fold,
};
use rimeward::domain::catalogue::Catalogue;
use rimeward::domain::yard::Site;

/// What a season brings to one boat: kind, circuits, litres out.
const SEASON: [(&str, &[&str], Option<f64>); 10] = [
    ("hauled", &[], None),
    ("strainer_opened", &["strainer"], None),
    ("fuel_treat_run", &["ENGINE_RAW"], None),
    ("drained", &["block_raw", "manifold_raw"], Some(7.0)),
    ("drained", &["raw_pump", "hx_raw"], Some(0.5)),
    ("blend_flush", &["ENGINE_RAW"], None),
    ("outlet_measured", &["exhaust_wet"], None),
    ("house_blend", &["pot_lines"], None),
    ("head_blend", &["head"], None),
    ("engine_run", &["ENGINE_RAW"], None),
];

const FITTED: [&str; 12] = [
    "block_raw",
    "manifold_raw",
    "hx_raw",
    "raw_pump",
    "strainer",
    "intake_hose",
    "exhaust_wet",
    "drive_water",
    "pot_lines",
    "water_heater",
    "head",
    "pot_tank",
];

fn first() -> DateTime<FixedOffset> {
    "2020-10-01T10:00:00-04:00".parse().unwrap()
}

/// One entry every few hours, seasons one after the other.
fn log(boat: &str, entries: u32) -> Vec<LayupEvent> {
    (0..entries)
        .zip(SEASON.iter().cycle())
        .map(|(number, (kind, circuits, litres_out))| {
            let happened = first() + TimeDelta::hours(i64::from(number) * 5);
            let id = format!("{boat}-{number:05}");
            let measured = *kind == "outlet_measured";
            LayupEvent {
                boat: Some(boat.into()),
                circuits: circuits.iter().map(|id| (*id).into()).collect(),
                litres_out: *litres_out,
                fluid: kind.contains("blend").then(|| "PG".to_owned()),
                label: kind.contains("blend").then(|| "-50F".to_owned()),
                litres_in: kind.contains("blend").then_some(12.0),
                reading_value: measured.then_some(-31.0),
                reading_unit: measured.then(|| "C".to_owned()),
                scale: measured.then(|| "PG".to_owned()),
                ..LayupEvent::blank(
                    id.as_str().into(),
                    (*kind).to_owned(),
                    happened,
                    Evidence::Recorded,
                )
            }
        })
        .collect()
}

fn boat(id: &str) -> Boat {
    Boat {
        id: id.into(),
        name: format!("Boat {id}"),
        kind: "petrol_inboard".into(),
        cooling: CoolingKind::Raw,
        fuel: "petrol".into(),
        engines: 1,
        site: "QUAY".into(),
        hull_id: String::new(),
        length_m: Some(8.0),
        location: String::new(),
        owner: None,
        care: Care::Yard,
        drain_permission: DrainPermission::Yes,
        keys: String::new(),
        fitted: FITTED.iter().map(|id| (*id).into()).collect(),
        fitting: Default::default(),
        instances: Vec::new(),
        volumes_l: Vec::new(),
        haul_date: None,
        planned_launch: None,
        work_ordered: String::new(),
        notes: String::new(),
    }
}

fn main() {
    let given: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let arg = |at: usize, usual: u32| given.get(at).copied().unwrap_or(usual).max(1);
    let (boats, entries, threads) = (arg(0, 100_000), arg(1, 20), arg(2, 2));
    let catalogue = Catalogue::built_in().unwrap();
    let places: Vec<Site> = Vec::new();
    let now: DateTime<Utc> = (first() + TimeDelta::days(6000)).to_utc();
    let of = |boat: &Boat, log: &[LayupEvent]| fold(boat, &places, log, now, now, &catalogue);

    let (mut folding, mut reading) = (0.0, 0.0);
    let numbers: Vec<u32> = (0..boats).collect();
    for some in numbers.chunks(5_000) {
        let fleet: Vec<(Boat, Vec<LayupEvent>)> = some
            .iter()
            .map(|number| {
                let id = format!("B{number:07}");
                (boat(&id), log(&id, entries))
            })
            .collect();
        let each = fleet.len().div_ceil(usize::try_from(threads).unwrap());
        let before = Instant::now();
        let states: Vec<BoatState> = std::thread::scope(|scope| {
            let work: Vec<_> = fleet
                .chunks(each)
                .map(|boats| {
                    let of = &of;
                    scope.spawn(move || {
                        boats.iter().map(|(boat, log)| of(boat, log)).collect::<Vec<_>>()
                    })
                })
                .collect();
            work.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
        });
        folding += before.elapsed().as_secs_f64();
        let kept: Vec<String> =
            states.iter().map(|state| serde_json::to_string(state).unwrap()).collect();
        let before = Instant::now();
        std::thread::scope(|scope| {
            for texts in kept.chunks(each) {
                scope.spawn(move || {
                    for text in texts {
                        black_box(serde_json::from_str::<BoatState>(text).unwrap());
                    }
                });
            }
        });
        reading += before.elapsed().as_secs_f64();
    }
    let long: Vec<serde_json::Value> = [200, 2_000, 20_000]
        .map(|entries| {
            let (boat, log) = (boat("B"), log("B", entries));
            let rounds = 20_000 / entries;
            let before = Instant::now();
            for _ in 0..rounds {
                black_box(of(&boat, black_box(&log)));
            }
            let micros = before.elapsed().as_secs_f64() * 1e6 / f64::from(rounds);
            serde_json::json!({"entries": entries, "microseconds": micros,
                "microseconds_an_entry": micros / f64::from(entries)})
        })
        .to_vec();
    let document = serde_json::json!({
        "bench": "fold", "boats": boats, "entries_a_boat": entries, "threads": threads,
        "seconds_to_fold": folding, "seconds_to_read_them_kept": reading,
        "one_boat": long,
    });
    println!("{document:#}");
}
