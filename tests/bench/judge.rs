//! A fleet by seed against the coming cold: states as they are cached (JSON) are read, every circuit is judged, rows are
//! ranked as worth listing or not. Each place has 256 members, 240 h ahead and 14 days behind it.
//!
//! `cargo bench --bench judge -- [BOATS PLACES THREADS]`, by default 100000 500 2. Every boat has 12 circuits; strengths
//! are rounded to 0.25 K of first ice on the warm side, so that a place has some 40 distinct cases. Making the fleet
//! and the weather is not timed. Prints one JSON document.

#![expect(clippy::unwrap_used, reason = "a benchmark may stop at the first surprise")]

use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::boat::{
    Boat, BoatState, Care, CircuitState, CoolingKind, DrainPermission, Evidence, Holds,
};
use rimeward::domain::catalogue::Catalogue;
use rimeward::domain::physics::{Liquid, Solute};
use rimeward::domain::risk::ambient::PlaceWeather;
use rimeward::domain::risk::judge::{Judge, JudgeSettings};
use rimeward::domain::risk::rank;
use rimeward::domain::units::Celsius;
use rimeward::domain::weather::Step;
use rimeward::domain::weather::errors::{Ensemble, ErrorModel, Normals};
use rimeward::domain::yard::{Site, SiteKind};

const CIRCUITS: [&str; 12] = [
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

fn start() -> DateTime<Utc> {
    "2022-12-10T11:00:00Z".parse().unwrap()
}

fn weather(place: u32) -> PlaceWeather {
    let at = start();
    let mean_c = -6.0 + 14.0 * f64::from(place % 100) / 100.0;
    let step = |hour: i32| Step {
        temperature_c: Some(
            mean_c + 5.0 * (std::f64::consts::TAU * (f64::from(hour) - 4.0) / 24.0).cos(),
        ),
        wind_ms: Some(2.0),
        cloud: Some(0.4),
        ..Step::empty(at + TimeDelta::hours(i64::from(hour)))
    };
    let coming: Vec<Step> = (0..240).map(step).collect();
    let paths = Ensemble::draw(&coming, 3.0, &ErrorModel::default(), 256, u64::from(place));
    let site = Site {
        id: format!("P{place:03}").as_str().into(),
        name: format!("Place {place}"),
        kind: SiteKind::Outdoor,
        latitude: 44.0,
        longitude: -70.0,
        elevation_m: 20.0,
        terrain: String::new(),
        water_kind: "none".into(),
        heat_setpoint: None,
        power_needed: false,
        night_offset_k: -1.0,
        time_zone: chrono_tz::America::New_York,
        soak_hours: None,
        soak_outside: None,
        water_temperature_c: Vec::new(),
        travel_minutes: 20.0,
        duty_phone: None,
        notes: String::new(),
        own_nights: None,
    };
    PlaceWeather {
        site,
        at,
        past: (-336..0).map(step).collect(),
        coming,
        paths,
        heat: Default::default(),
        elsewhere: Default::default(),
        usual: Default::default(),
    }
}

fn boat(number: u32, place: u32) -> Boat {
    Boat {
        id: format!("B{number:07}").as_str().into(),
        name: format!("Boat {number}"),
        kind: "petrol_inboard".into(),
        cooling: CoolingKind::Raw,
        fuel: "petrol".into(),
        engines: 1,
        site: format!("P{place:03}").as_str().into(),
        hull_id: String::new(),
        length_m: Some(8.0),
        location: String::new(),
        owner: None,
        care: Care::Yard,
        drain_permission: DrainPermission::Yes,
        keys: String::new(),
        fitted: Vec::new(),
        fitting: Default::default(),
        instances: Vec::new(),
        volumes_l: Vec::new(),
        haul_date: None,
        planned_launch: None,
        work_ordered: String::new(),
        notes: String::new(),
    }
}

/// Water, nothing on record, drained, or one of a few blends rounded to the warm side by 0.25 K.
fn circuit(id: &str, dice: f64, blends: &[Liquid]) -> CircuitState {
    let at = start() - TimeDelta::days(40);
    let (holds, liquid) = if dice < 0.3 {
        (Holds::Fresh, Liquid::FreshWater)
    } else if dice < 0.5 {
        (Holds::Unknown, Liquid::FreshWater)
    } else if dice < 0.8 {
        (Holds::Drained, Liquid::FreshWater)
    } else {
        let which = if dice < 0.9 { blends.first() } else { blends.last() };
        (Holds::Blend, *which.unwrap())
    };
    CircuitState {
        circuit: id.into(),
        instance: None,
        holds,
        fitted: Default::default(),
        brimful: false,
        liquid: Some(liquid),
        litres: 0.5,
        closed_pocket: false,
        first_ice: Some(liquid.first_ice()),
        slush: liquid.slush(),
        burst: liquid.burst(),
        read_at: None,
        separated: false,
        evidence: Evidence::Recorded,
        since: Some(at),
        because: vec!["E017 2022-10-31 14:00 flushed, by the yard".to_owned()],
        undone_by: None,
        open_questions: Vec::new(),
    }
}

fn state(boat: &Boat, dice: &mut Normals, blends: &[Liquid]) -> BoatState {
    BoatState {
        boat: boat.id.clone(),
        at: start(),
        known_at: start(),
        site: boat.site.clone(),
        afloat: false,
        ashore_from: None,
        assumed_ashore: false,
        earlier: Vec::new(),
        covered: false,
        cooling: CoolingKind::Raw,
        cooling_open: false,
        fitting_questions: Vec::new(),
        circuits: CIRCUITS.iter().map(|id| circuit(id, dice.uniform(), blends)).collect(),
        mitigations: Vec::new(),
        test_before_running: Vec::new(),
        open_questions: Vec::new(),
    }
}

struct Place {
    weather: PlaceWeather,
    boats: Vec<(Boat, String)>,
}

fn place(number: u32, boats: u32) -> Place {
    let mut dice = Normals::new(u64::from(number) + 7);
    let blends: Vec<Liquid> = (0..2)
        .map(|_| {
            let first_ice_c = (-5.0 - 12.0 * dice.uniform()) * 4.0;
            let warm = Celsius::new(first_ice_c.ceil() / 4.0).unwrap();
            Liquid::blend_from_first_ice(Solute::PropyleneGlycol, warm).unwrap()
        })
        .collect();
    let boats = (0..boats)
        .map(|at| {
            let boat = boat(number * boats + at, number);
            let text = serde_json::to_string(&state(&boat, &mut dice, &blends)).unwrap();
            (boat, text)
        })
        .collect();
    Place { weather: weather(number), boats }
}

#[derive(Default)]
struct Told {
    distinct: usize,
    rows: usize,
    listed: usize,
    chances: f64,
    reading: Duration,
}

fn judge(place: &Place, catalogue: &Catalogue) -> Told {
    let settings = JudgeSettings { horizon_h: 240, ..JudgeSettings::default() };
    let mut judge = Judge::new(&place.weather, catalogue, settings);
    let mut told = Told::default();
    for (boat, text) in &place.boats {
        let before = Instant::now();
        let state: BoatState = serde_json::from_str(text).unwrap();
        told.reading += before.elapsed();
        let rows = judge.boat(boat, &state).unwrap();
        told.rows += rows.len();
        told.listed += rows.iter().filter(|row| rank::is_worth_listing(row)).count();
        told.chances += rows.iter().map(|row| row.chance_limit).sum::<f64>();
    }
    told.distinct = judge.distinct_cases();
    told
}

fn peak_memory_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kib| kib / 1024.0)
}

fn main() {
    let given: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let arg = |at: usize, usual: u32| given.get(at).copied().unwrap_or(usual).max(1);
    let (boats, places, threads) = (arg(0, 100_000), arg(1, 500), arg(2, 2));
    let catalogue = Catalogue::built_in().unwrap();
    let (mut seconds, mut told) = (0.0, Told::default());
    let numbers: Vec<u32> = (0..places).collect();
    for some in numbers.chunks(20) {
        let made: Vec<Place> = some.iter().map(|at| place(*at, boats.div_ceil(places))).collect();
        let before = Instant::now();
        let each = made.len().div_ceil(usize::try_from(threads).unwrap());
        let answers: Vec<Told> = std::thread::scope(|scope| {
            let work: Vec<_> = made
                .chunks(each)
                .map(|places| {
                    let catalogue = &catalogue;
                    scope.spawn(move || {
                        places.iter().map(|place| judge(place, catalogue)).collect::<Vec<_>>()
                    })
                })
                .collect();
            work.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
        });
        seconds += before.elapsed().as_secs_f64();
        for answer in answers {
            told.distinct += answer.distinct;
            told.rows += answer.rows;
            told.listed += answer.listed;
            told.chances += answer.chances;
            told.reading += answer.reading;
        }
    }
    let document = serde_json::json!({
        "bench": "judge", "boats": boats, "places": places, "threads": threads, "members": 256, "hours": 240,
        "distinct_cases": told.distinct, "rows": told.rows, "rows_worth_listing": told.listed,
        "sum_of_chances": told.chances, "seconds": seconds,
        "of_which_reading_states_thread_s": told.reading.as_secs_f64(), "peak_memory_mib": peak_memory_mib(),
    });
    println!("{document:#}");
}
