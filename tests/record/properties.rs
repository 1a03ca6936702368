//! What must hold for any log.

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use rimeward::domain::boat::{BoatState, CoolingKind, Evidence, LayupEvent, Precision, fold};
use rimeward::domain::catalogue::Catalogue;

use super::build::{World, boat, event};

fn start() -> DateTime<Utc> {
    "2022-09-01T12:00:00Z".parse().unwrap()
}

/// A log of up to 40 entries of any kind, on a twin with several circuits, over nine months.
fn log() -> impl Strategy<Value = Vec<LayupEvent>> {
    let kinds: Vec<String> =
        Catalogue::built_in().unwrap().events().iter().map(|kind| kind.id.clone()).collect();
    let entry = (
        prop::sample::select(kinds),
        0_i64..390_000,
        0_i64..20_000,
        any::<bool>(),
        prop::sample::select(vec![
            "",
            "ENGINE_RAW",
            "block_raw",
            "closed_loop",
            "ac_raw",
            "battery",
            "pot_lines;water_heater",
        ]),
        prop::sample::select(vec![
            "",
            "port engine",
            "saloon unit only",
            "galley tap",
            "both engines",
        ]),
        (
            prop::sample::select(vec![
                "",
                "run_cold",
                "run_warm",
                "filled_after_drain",
                "hose",
                "sea",
                "void",
            ]),
            -50.0..5.0_f64,
            prop::sample::select(vec!["", "PG", "EG"]),
            prop::sample::select(vec!["", "PG", "EG", "ethanol"]),
            0_usize..5,
        ),
    );
    prop::collection::vec(entry, 0..40).prop_map(|entries| {
        let last = entries.len();
        entries
            .into_iter()
            .enumerate()
            .map(|(number, (kind, minutes, late, day, circuits, point, rest))| {
                let (method, reading, scale, fluid, grade) = rest;
                let mut entry = event(&format!("E{number}"), "2022-09-01T07:00", &kind).0;
                let text = |words: &str| (!words.is_empty()).then(|| words.to_owned());
                entry.happened_at = start() + TimeDelta::minutes(minutes);
                entry.recorded_at = entry.happened_at + TimeDelta::minutes(late);
                entry.precision = if day { Precision::Day } else { Precision::Minute };
                entry.circuits =
                    circuits.split(';').filter(|id| !id.is_empty()).map(Into::into).collect();
                entry.point = text(point);
                entry.method = text(method);
                entry.fluid = text(fluid);
                entry.scale = text(scale);
                entry.label = text("-50F");
                entry.reading_value = Some(reading);
                entry.reading_unit = text("C");
                entry.volts = Some(12.5);
                entry.minutes = Some(reading + 50.0);
                entry.corrects =
                    (kind == "correction").then(|| format!("E{}", number * 7 % last).into());
                entry.evidence = [
                    Evidence::None,
                    Evidence::Claimed,
                    Evidence::Recorded,
                    Evidence::Probed,
                    Evidence::Measured,
                ][grade];
                entry
            })
            .collect()
    })
}

fn state(events: &[LayupEvent], at: DateTime<Utc>, known_at: DateTime<Utc>) -> BoatState {
    let twin = boat(
        CoolingKind::Raw,
        2,
        "block_raw;manifold_raw;raw_pump;closed_loop;engine_coil;ac_raw;battery;pot_lines;water_heater;seacock",
    );
    fold(&twin, &World, events, at, known_at, &Catalogue::built_in().unwrap())
}

fn end() -> DateTime<Utc> {
    start() + TimeDelta::days(400)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_order_of_the_rows_does_not_matter(events in log(), seed in any::<u64>()) {
        let mut shuffled = events.clone();
        // A shuffle by the seed: sorting by a scrambled number.
        let scramble = |event: &LayupEvent| {
            event.id.as_str().bytes().fold(seed, |sum, byte| {
                (sum ^ u64::from(byte)).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29)
            })
        };
        shuffled.sort_by_key(scramble);
        prop_assert_eq!(state(&events, end(), end()), state(&shuffled, end(), end()));
    }

    #[test]
    fn an_entry_about_another_boat_changes_nothing(events in log(), other in log()) {
        let mut both = events.clone();
        both.extend(other.into_iter().map(|mut event| {
            event.id = format!("X{}", event.id).into();
            event.boat = Some("C".into());
            event
        }));
        prop_assert_eq!(state(&events, end(), end()), state(&both, end(), end()));
    }

    #[test]
    fn a_prefix_of_the_log_is_what_was_so_then(events in log(), days in 0_i64..400) {
        let then = start() + TimeDelta::days(days);
        let prefix: Vec<LayupEvent> = events
            .iter()
            .filter(|event| event.recorded_at <= then)
            .cloned()
            .collect();
        prop_assert_eq!(state(&prefix, then, then), state(&events, then, then));
    }

    #[test]
    fn every_state_explains_itself_and_keeps_to_the_null_rules(events in log()) {
        for circuit in state(&events, end(), end()).circuits {
            prop_assert!(!circuit.because.is_empty());
            let null = ["unknown", "dry", "absent", "lube_clean"].contains(&circuit.holds.as_str());
            prop_assert!(!(null && circuit.first_ice.is_some()));
            prop_assert!(circuit.holds.as_str() == "dry" || circuit.holds.as_str() == "lube_clean" || circuit.liquid.is_some());
            for words in circuit.because.iter().chain(&circuit.open_questions) {
                prop_assert!(!words.contains('{') && !words.contains('}'), "{}", words);
            }
        }
    }
}
