//! What is known of the past and what is not: a fresh store against one with history, colder pasts, thaws.

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use rimeward::domain::boat::{LayupEvent, fold};
use rimeward::domain::risk::CircuitRisk;
use rimeward::domain::risk::ambient::PlaceWeather;
use rimeward::domain::risk::judge::{Judge, JudgeSettings};
use rimeward::domain::weather::Step;
use rimeward::domain::weather::errors::{Ensemble, ErrorModel};

use crate::record::demo::yard;
use crate::support::at;

/// Hours that are looked back on.
const BACK_H: i64 = 960;

/// Noon in late November in Maine.
fn noon() -> DateTime<Utc> {
    at("2022-11-25T17:00:00Z")
}

fn step(hour: i64, air_c: Option<f64>) -> Step {
    Step {
        temperature_c: air_c,
        cloud: Some(1.0),
        wind_ms: Some(2.0),
        ..Step::empty(noon() + TimeDelta::hours(hour))
    }
}

/// Now +2 C, from tomorrow on -31 C.
fn snap(hour: i64) -> f64 {
    if hour < 20 { 2.0 } else { (2.0 - 3.3 * (hour - 19) as f64).max(-31.0) }
}

/// A boat of which nothing is on record, with the past hours that `past` gives (counted down to -1) and the coming ones.
fn rows(past: impl Fn(i64) -> Option<f64>, coming: impl Fn(i64) -> f64) -> Vec<CircuitRisk> {
    let yard = yard();
    let mut boat = yard.boats.iter().find(|boat| boat.id.as_str() == "B02").unwrap().clone();
    let parts =
        ["block_raw", "manifold_raw", "strainer", "pot_lines", "drive_water", "water_heater"];
    boat.fitted = parts.map(Into::into).to_vec();
    boat.haul_date = None;
    let state = fold::<LayupEvent>(&boat, &yard.sites, &[], noon(), noon(), &yard.catalogue);
    let coming: Vec<Step> = (0..72).map(|hour| step(hour, Some(coming(hour)))).collect();
    let weather = PlaceWeather {
        site: yard.sites.iter().find(|site| site.id == boat.site).unwrap().clone(),
        at: noon(),
        past: (-BACK_H..0).map(|hour| step(hour, past(hour))).collect(),
        paths: Ensemble::draw(&coming, 2.0, &ErrorModel::default(), 64, 7),
        coming,
        heat: Default::default(),
        elsewhere: Default::default(),
        usual: Default::default(),
    };
    let mut judge = Judge::new(&weather, &yard.catalogue, JudgeSettings::default());
    judge.boat(&boat, &state).unwrap()
}

fn named(rows: &[CircuitRisk]) -> Vec<&str> {
    let in_danger = rows.iter().filter(|row| row.frozen_now || row.first_danger.is_some());
    in_danger.map(|row| row.circuit.as_str()).collect()
}

/// The last `known` hours, as `air` has them, and nothing before.
fn last(known: i64, air: impl Fn(i64) -> f64) -> impl Fn(i64) -> Option<f64> {
    move |hour| (hour >= -known).then(|| air(hour))
}

#[test]
fn a_fresh_store_claims_no_ice_and_asks_the_work_of_a_coming_snap() {
    let fresh = rows(|_| None, snap);
    assert!(fresh.len() >= 5, "{fresh:?}");
    for row in fresh.iter().filter(|row| row.circuit.as_str() != "water_heater") {
        assert!(!row.frozen_now && !row.ice.may_be, "{row:?}");
        assert!(row.chance_limit > 0.9 && row.minutes > 0.0, "{row:?}");
        // The cold comes 20 hours from now; a forecast of +2 C for a hollow leaves some chance before, and none at once.
        assert!(row.first_danger.unwrap() >= noon() + TimeDelta::hours(3), "{row:?}");
        assert!(row.latest_start.unwrap() > noon(), "{row:?}");
        assert_eq!(row.ice.unknown_before, Some(noon()), "{row:?}");
        assert!(row.why.iter().any(|why| why.contains("we know nothing")), "{:?}", row.why);
    }
    let history = rows(last(72, |_| 3.0), snap);
    assert_eq!(named(&fresh), named(&history));
    assert!(history.iter().all(|row| !row.frozen_now), "{history:?}");
    // In July nobody needs to look for ice.
    assert!(rows(last(BACK_H, |_| 3.0), snap).iter().all(|row| row.ice.unknown_before.is_none()));
}

#[test]
fn a_hole_in_the_past_is_no_ice_and_hides_none() {
    // Ten days of -12 C, then three days of which nobody knows anything.
    let hole = |hour: i64| (!(-72..0).contains(&hour)).then_some(-12.0);
    for row in rows(hole, |_| 4.0) {
        assert!(row.frozen_now && row.first_danger.is_some(), "{row:?}");
    }
    // Mild, then nothing known: the hours to come do not stand for them, whatever they bring.
    let mild = |hour: i64| (!(-72..0).contains(&hour)).then_some(6.0);
    for row in rows(mild, |_| -20.0) {
        assert!(!row.frozen_now && row.minutes > 0.0, "{row:?}");
    }
}

#[test]
fn what_has_frozen_stays_frozen_through_a_thaw_and_the_next_cold() {
    let past = |hour: i64| {
        Some(if hour < -300 {
            5.0
        } else if hour < -120 {
            -12.0
        } else {
            7.0
        })
    };
    for row in rows(past, snap).iter().filter(|row| row.circuit.as_str() != "water_heater") {
        assert!(row.frozen_now && row.ice.thawed, "{row:?}");
        assert_eq!((row.latest_start, row.minutes), (None, 0.0), "{row:?}");
    }
}

#[test]
fn between_the_threshold_and_half_a_part_may_have_frozen_and_its_work_is_still_asked() {
    let mut seen = 0;
    for known in 1..72 {
        for row in rows(last(known, |_| -4.0), |_| -12.0) {
            if row.ice.may_be {
                seen += 1;
                assert!(
                    !row.frozen_now && row.minutes > 0.0 && row.latest_start.is_some(),
                    "{row:?}"
                );
                assert!(row.chance_limit < 1.1 && row.first_danger.is_some(), "{row:?}");
            }
        }
    }
    assert!(seen > 0, "no past hours leave it open whether the ice has come");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// However much is known of whatever past, what a snap threatens is named, and its work asked for unless it has frozen.
    #[test]
    fn more_past_never_makes_the_coming_danger_vanish(
        known in 0_i64..BACK_H, more in 0_i64..BACK_H, mean_c in -8.0_f64..9.0, swing_k in 0.0_f64..6.0,
    ) {
        let air = |hour: i64| mean_c + swing_k * (hour as f64 / 24.0 * std::f64::consts::TAU).sin();
        let less = rows(last(known, air), snap);
        let more = rows(last((known + more).min(BACK_H), air), snap);
        for part in named(&less) {
            // Forty kilos of water after weeks of mild air are not frozen in two days.
            prop_assert!(part == "water_heater" || named(&more).contains(&part), "{part}");
        }
        for row in less.iter().chain(&more).filter(|row| row.first_danger.is_some()) {
            prop_assert!(row.frozen_now || row.minutes > 0.0 && row.latest_start.is_some(), "{row:?}");
        }
    }

    /// A colder past never makes a part safer, and never thaws what has frozen.
    #[test]
    fn a_colder_past_never_makes_a_part_safer(
        known in 0_i64..BACK_H, mean_c in -12.0_f64..9.0, colder_k in 0.0_f64..8.0, low_c in -12.0_f64..3.0,
    ) {
        let warm = rows(last(known, |_| mean_c), |_| low_c);
        let cold = rows(last(known, |_| mean_c - colder_k), |_| low_c);
        for (warm, cold) in warm.iter().zip(&cold) {
            prop_assert!(cold.chance_limit >= warm.chance_limit - 1e-9, "{warm:?} {cold:?}");
            prop_assert!(cold.frozen_now || !warm.frozen_now, "{warm:?} {cold:?}");
        }
    }
}
