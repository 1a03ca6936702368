//! Laws that hold for any log: silence never pays. `RIMEWARD_LAW_LOGS` sets how many random logs each law is held to.

use std::sync::LazyLock;

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use rimeward::domain::boat::{BoatState, CircuitState, CoolingKind, Evidence, LayupEvent, fold};
use rimeward::domain::catalogue::{Catalogue, EffectKind, EventClass, Holds};
use serde::Deserialize;

use super::build::{World, boat, event};

const FITTED: &str = "block_raw;manifold_raw;raw_pump;coolers_raw;intake_hose;drive_water;exhaust_wet;strainer;seacock;\
                      closed_loop;engine_coil;gearcase;heater_core;ac_raw;head;holding;pot_lines;pot_tank;water_heater;\
                      shower_sump;washdown;bilge;hull_void;scuppers;battery;fuel_sep";
/// Kinds that lay up, undo and look, each as often as the others.
const KINDS: &[&str] = &[
    "hauled",
    "launched",
    "moved_to",
    "plug_out",
    "flushed_fresh",
    "drained",
    "drained",
    "drained",
    "drain_left_open",
    "purge_crank",
    "blend_flush",
    "blend_flush",
    "blend_flush",
    "outlet_measured",
    "outlet_measured",
    "block_sampled",
    "block_sampled",
    "strainer_opened",
    "engine_run",
    "loop_tested",
    "loop_corrected",
    "topped_up_water",
    "gear_oil_changed",
    "fogged",
    "separator_drained",
    "tank_emptied",
    "heater_bypassed_drained",
    "house_blend",
    "head_blend",
    "holding_dosed",
    "ac_blend",
    "blown_out",
    "seacock_closed",
    "seacock_blend",
    "bilge_dosed",
    "washed",
    "tap_used",
    "head_used",
    "potable_refilled",
    "recommissioned",
    "battery_charged",
    "rain_in",
    "inspected",
    "ice_found",
    "signed_off",
    "declined",
];
const NOTES: &[&str] = &[
    "",
    "",
    "",
    "done",
    "stbd seized",
    "not done",
    "started after",
    "both engines",
    "pink at all taps",
    "from the jug",
    "uncalibrated",
    "hose",
    "lake",
    "no water",
    "milky",
    "water in the bilge",
    "refilled",
    "towed",
    "ok AB",
    "thermostat did not open",
    "xyzzy pump",
    "clear",
    "probed, ran well",
    "no engine run",
];

#[expect(clippy::disallowed_methods, reason = "how many logs comes from outside")]
fn cases() -> u32 {
    std::env::var("RIMEWARD_LAW_LOGS").ok().and_then(|text| text.parse().ok()).unwrap_or(1000)
}

fn config() -> ProptestConfig {
    ProptestConfig {
        cases: cases(),
        failure_persistence: None,
        max_shrink_iters: 2000,
        ..ProptestConfig::default()
    }
}

fn pick(words: &'static [&'static str]) -> impl Strategy<Value = &'static str> {
    prop::sample::select(words)
}

/// One entry, an hour after the one before it, with everything that a careful hand writes.
fn entry() -> impl Strategy<Value = LayupEvent> {
    let what = (
        pick(KINDS),
        1_i64..2000,
        pick(&[
            "",
            "",
            "ENGINE_RAW",
            "block_raw",
            "block_raw;manifold_raw",
            "raw_pump",
            "pot_lines",
            "HOUSE",
        ]),
        pick(&[
            "",
            "both block drains",
            "block port drain",
            "block stbd drain",
            "exhaust",
            "galley",
            "all drains",
        ]),
        pick(&["", "run_cold", "run_warm", "filled_after_drain", "clear", "milky", "hose", "sea"]),
        pick(&["", "yes", "no"]),
        pick(NOTES),
    );
    let figures = (
        prop::sample::select(vec![None, Some(3.0), Some(10.0), Some(20.0)]),
        prop::sample::select(vec![None, Some(2.0), Some(9.0), Some(20.0), Some(30.0)]),
        prop::sample::select(vec![None, Some(9.0), Some(16.0), Some(26.0)]),
        prop::sample::select(vec![None, Some(-5.0), Some(-12.0), Some(-30.0), Some(2.0)]),
        pick(&["", "PG", "EG"]),
        prop::sample::select(vec![
            ("", ""),
            ("PG", "-50F"),
            ("PG", "-100F"),
            ("EG", "50/50"),
            ("ethanol", "-50F"),
            ("PG", ""),
            ("", "-100F"),
        ]),
        (0_usize..4, prop::sample::select(vec![None, Some(true), Some(false)]), any::<bool>()),
    );
    (what, figures).prop_map(|(what, figures)| {
        let (kind, hours, circuits, point, method, thermostat, note) = what;
        let (minutes, litres_in, litres_out, reading, scale, (fluid, label), (grade, probed, unit)) = figures;
        let text = |words: &str| (!words.is_empty()).then(|| words.to_owned());
        let mut entry = event("E", "2022-09-20T07:00", kind).0;
        entry.happened_at += TimeDelta::hours(hours);
        entry.circuits = circuits.split(';').filter(|id| !id.is_empty()).map(Into::into).collect();
        entry.point = text(point);
        entry.method = text(method);
        entry.thermostat_open = text(thermostat);
        entry.note = text(note);
        entry.minutes = minutes;
        entry.litres_in = litres_in;
        entry.litres_out = litres_out;
        entry.reading_value = reading;
        entry.reading_unit = (reading.is_some() && unit).then(|| "C".to_owned());
        entry.scale = text(scale);
        entry.fluid = text(fluid);
        entry.label = text(label);
        entry.probed = probed;
        entry.volts = (kind == "battery_charged").then_some(12.6);
        entry.evidence =
            [Evidence::Claimed, Evidence::Recorded, Evidence::Probed, Evidence::Measured][grade];
        entry
    })
}

fn log() -> impl Strategy<Value = Vec<LayupEvent>> {
    prop::collection::vec(entry(), 1..9).prop_map(|mut log| {
        for (number, entry) in log.iter_mut().enumerate() {
            entry.id = format!("E{number}").into();
            entry.recorded_at = entry.happened_at;
        }
        log
    })
}

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::built_in().unwrap());

struct Bench {
    catalogue: &'static Catalogue,
    boat: rimeward::domain::boat::Boat,
}

impl Bench {
    fn new() -> Self {
        Self { catalogue: &CATALOGUE, boat: boat(CoolingKind::Raw, 1, FITTED) }
    }

    fn state(&self, log: &[LayupEvent]) -> BoatState {
        let end: DateTime<Utc> = "2023-05-20T12:00:00Z".parse().unwrap();
        fold(&self.boat, &World, log, end, end, self.catalogue)
    }
}

/// The least protected of each circuit in `one` is no better protected than in `other`.
fn no_stronger(one: &BoatState, other: &BoatState, but: &[&str]) -> Result<(), TestCaseError> {
    let mut wrong = Vec::new();
    for circuit in one.circuits.iter().filter(|circuit| !but.contains(&circuit.circuit.as_str())) {
        let rest = other.circuits.iter().filter(|of| of.circuit == circuit.circuit);
        let least = rest.min_by(|a, b| worth(a).partial_cmp(&worth(b)).unwrap()).unwrap();
        let same = one.circuits.iter().filter(|of| of.circuit == circuit.circuit);
        let own = same.min_by(|a, b| worth(a).partial_cmp(&worth(b)).unwrap()).unwrap();
        if is_stronger(own, least) {
            wrong.push(format!("{own:#?}\nis stronger than\n{least:#?}"));
        }
    }
    prop_assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    Ok(())
}

fn worth(circuit: &CircuitState) -> (bool, Evidence) {
    (circuit.holds.is_protected(), circuit.evidence)
}

fn is_stronger(one: &CircuitState, other: &CircuitState) -> bool {
    let (a, b) = (worth(one), worth(other));
    if !a.0 {
        return false;
    }
    let blends =
        [one.holds, other.holds].iter().all(|holds| matches!(holds, Holds::Blend | Holds::Coolant));
    let ice = |circuit: &CircuitState| circuit.first_ice.map_or(0.0, |at| at.value());
    a > b || blends && ice(one) < ice(other) - 0.05
}

#[derive(Debug, Deserialize)]
struct Usual {
    event: String,
    field: String,
    values: String,
}

fn usual() -> Vec<Usual> {
    let table = include_str!("usual_values.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
    reader.deserialize().map(Result::unwrap).collect()
}

fn set(entry: &mut LayupEvent, field: &str, value: Option<&str>) {
    let number = value.map(|value| value.parse().unwrap_or(0.0));
    let text = value.map(str::to_owned);
    match field {
        "minutes" => entry.minutes = number,
        "litres_in" => entry.litres_in = number,
        "litres_out" => entry.litres_out = number,
        "reading_value" => entry.reading_value = number,
        "volts" => entry.volts = number,
        "point" => entry.point = text,
        "reading_unit" => entry.reading_unit = text,
        "scale" => entry.scale = text,
        "fluid" => entry.fluid = text,
        "label" => entry.label = text,
        "method" => entry.method = text,
        "thermostat_open" => entry.thermostat_open = text,
        "probed" => entry.probed = value.map(|value| value == "yes"),
        other => panic!("no field {other}"),
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn a_blank_is_never_worth_more_than_what_is_usual(log in log(), dice in any::<prop::sample::Index>()) {
        let bench = Bench::new();
        for (at, entry) in log.iter().enumerate() {
            let table = usual();
            let fields: Vec<&Usual> = table.iter().filter(|row| row.event == entry.kind).collect();
            let Some(row) = fields.get(dice.index(fields.len().max(1))) else { continue };
            let with = |value: Option<&str>| {
                let mut log = log.clone();
                set(&mut log[at], &row.field, value);
                bench.state(&log)
            };
            let blank = with(None);
            for value in row.values.split(';') {
                no_stronger(&blank, &with(Some(value)), &[]).map_err(|error| {
                    TestCaseError::fail(format!("{}={value} of {}: {error}", row.field, entry.id))
                })?;
            }
        }
    }

    #[test]
    fn unknown_before_counts_as_wet_before(log in log()) {
        let bench = Bench::new();
        let mut wet = event("W", "2022-09-10T07:00", "flushed_fresh").on(FITTED).0;
        wet.recorded_at = wet.happened_at;
        let with: Vec<LayupEvent> = std::iter::once(wet).chain(log.iter().cloned()).collect();
        no_stronger(&bench.state(&log), &bench.state(&with), &[])?;
    }

    /// A run mixes a loop that was corrected, so that a test of it counts; a seacock that is opened ashore drains.
    #[test]
    fn an_added_undoing_never_strengthens(log in log(), mut added in entry(), at in any::<prop::sample::Index>()) {
        let bench = Bench::new();
        let undoing: Vec<&str> = bench
            .catalogue
            .events()
            .iter()
            .filter(|kind| kind.class == EventClass::Undoing && kind.effect != EffectKind::SeacockOpen)
            .map(|kind| kind.id.as_str())
            .collect();
        added.kind = undoing[at.index(undoing.len())].to_owned();
        added.id = "U".into();
        added.recorded_at = added.happened_at;
        let mut with = log.clone();
        with.push(added);
        no_stronger(&bench.state(&with), &bench.state(&log), &["closed_loop", "engine_coil"])?;
    }

    #[test]
    fn the_same_entry_twice_never_strengthens(log in log(), at in any::<prop::sample::Index>(), later in 0_i64..3) {
        let bench = Bench::new();
        let mut again = log[at.index(log.len())].clone();
        again.id = "T".into();
        again.happened_at += TimeDelta::minutes(later);
        again.recorded_at = again.happened_at;
        let mut with = log.clone();
        with.push(again);
        no_stronger(&bench.state(&with), &bench.state(&log), &[])?;
    }

    #[test]
    fn a_remark_never_strengthens(log in log(), at in any::<prop::sample::Index>(), note in pick(NOTES)) {
        let bench = Bench::new();
        let mut bare = log.clone();
        let mut with = log.clone();
        let at = at.index(log.len());
        bare[at].note = None;
        with[at].note = (!note.is_empty()).then(|| note.to_owned());
        no_stronger(&bench.state(&with), &bench.state(&bare), &[])?;
    }
}
