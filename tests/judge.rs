//! Circuits against the coming cold, from the library's side.

mod past;

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use rimeward::domain::boat::Evidence::Recorded;
use rimeward::domain::boat::{
    BoatState, CircuitId, LayupEvent, Precision, SiteId, fold, heat_of_place,
};
use rimeward::domain::risk::CircuitRisk;
use rimeward::domain::risk::ambient::{Heat, PlacePast, PlaceWeather};
use rimeward::domain::risk::judge::{Judge, JudgeSettings};
use rimeward::domain::weather::Step;
use rimeward::domain::weather::errors::{Ensemble, ErrorModel};

use crate::record::demo::yard;
use crate::support::at;

/// One frosty night after mild days: a tank of 100 L stays liquid, the stubs and elbows on it (13 mm tube) do not. The time
/// constants are the table's own: under an hour for the tube, most of a day for the tank.
#[test]
fn the_fittings_of_a_tank_are_told_apart_from_the_tank() {
    let yard = yard();
    let boat = yard.boats.iter().find(|boat| {
        boat.site.as_str() == "UPPER" && boat.fitted.contains(&CircuitId::from("pot_tank"))
    });
    let mut boat = boat.or(yard.boats.first()).unwrap().clone();
    boat.site = "UPPER".into();
    boat.fitted = vec!["pot_tank".into(), "raw_pump".into()];
    let now = at("2022-11-10T21:00:00Z");
    let state = fold::<LayupEvent>(&boat, &yard.sites, &[], now, now, &yard.catalogue);
    let step = |hour: i64, air_c: f64| Step {
        temperature_c: Some(air_c),
        cloud: Some(1.0),
        wind_ms: Some(3.0),
        ..Step::empty(now + TimeDelta::hours(hour))
    };
    let night = |hour: i64| if (4..14).contains(&hour) { -4.0 } else { 6.0 };
    let coming: Vec<Step> = (0..72).map(|hour| step(hour, night(hour))).collect();
    let past: Vec<Step> = (-72..0).map(|hour| step(hour, 7.0)).collect();
    let weather = PlaceWeather {
        site: yard.sites.iter().find(|site| site.id == boat.site).unwrap().clone(),
        at: now,
        past,
        paths: Ensemble::draw(&coming, 2.0, &ErrorModel::default(), 64, 7),
        coming,
        heat: Default::default(),
        elsewhere: Default::default(),
        usual: Default::default(),
    };
    let mut judge = Judge::new(&weather, &yard.catalogue, JudgeSettings::default());
    let rows = judge.boat(&boat, &state).unwrap();
    let row = |circuit: &str| rows.iter().find(|row| row.circuit.as_str() == circuit).unwrap();
    let tank = row("pot_tank");
    assert!(tank.chance_first_ice < 0.3, "{}", tank.chance_first_ice);
    let told = tank.why.iter().find(|why| why.contains("fittings and stubs freeze long before it"));
    assert!(
        told.is_some_and(|why| why.contains("Thu 10 Nov 2") || why.contains("Fri 11 Nov 0")),
        "{:?}",
        tank.why
    );
    assert!(!row("raw_pump").why.iter().any(|why| why.contains("fittings")));
}

/// Steady still air under cloud for `hours` from `start` on.
fn steady(start: DateTime<Utc>, air_c: f64, hours: std::ops::Range<i64>) -> Vec<Step> {
    let step = |hour: i64| Step {
        temperature_c: Some(air_c),
        cloud: Some(1.0),
        wind_ms: Some(1.0),
        ..Step::empty(start + TimeDelta::hours(hour))
    };
    hours.map(step).collect()
}

/// Boat B02 with `log`, in air of -6 C for forty days back and three days ahead, and what she has come from at 9 C.
fn judged(now: DateTime<Utc>, log: &[(&str, i64, Option<&str>)]) -> (BoatState, Vec<CircuitRisk>) {
    let yard = yard();
    let mut boat = yard.boats.iter().find(|boat| boat.id.as_str() == "B02").unwrap().clone();
    boat.fitted =
        ["block_raw", "manifold_raw", "coolers_raw", "strainer"].map(CircuitId::from).to_vec();
    let log: Vec<LayupEvent> = log
        .iter()
        .enumerate()
        .map(|(number, (kind, hours_ago, site))| {
            let at = (now - TimeDelta::hours(*hours_ago)).fixed_offset();
            let id = format!("{number}");
            let blank = LayupEvent::blank(id.as_str().into(), (*kind).to_owned(), at, Recorded);
            LayupEvent { boat: Some(boat.id.clone()), site: site.map(SiteId::from), ..blank }
        })
        .collect();
    let state = fold(&boat, &yard.sites, &log, now, now, &yard.catalogue);
    let coming = steady(now, -6.0, 0..72);
    // A place that is not on the list is judged as the cold one.
    let site = |id: &SiteId| {
        let listed = yard.sites.iter().find(|site| site.id == *id);
        listed.or(yard.sites.iter().find(|site| site.id.as_str() == "UPPER")).unwrap().clone()
    };
    let other = |site: &rimeward::domain::yard::Site| {
        let heat = Heat::default();
        let past = PlacePast {
            site: site.clone(),
            past: steady(now, 9.0, -960..0),
            heat,
            usual: Default::default(),
        };
        (site.id.clone(), past)
    };
    let weather = PlaceWeather {
        site: site(&state.site),
        at: now,
        past: steady(now, -6.0, -960..0),
        paths: Ensemble::draw(&coming, 2.0, &ErrorModel::default(), 64, 7),
        coming,
        heat: Heat::default(),
        elsewhere: Arc::new(yard.sites.iter().map(other).collect()),
        usual: Default::default(),
    };
    let mut judge = Judge::new(&weather, &yard.catalogue, JudgeSettings::default());
    let rows = judge.boat(&boat, &state).unwrap();
    (state, rows)
}

/// Lifted out of the water an hour ago into air of -6 C: nothing has frozen yet, and it is to be drained now. The forty days
/// before were cold as well, but on land.
#[test]
fn a_boat_that_was_lifted_an_hour_ago_is_still_to_be_drained() {
    let now = at("2022-12-10T21:00:00Z");
    let lifted = |hours: i64| judged(now, &[("launched", 1440, None), ("hauled", hours, None)]);
    let (state, rows) = lifted(1);
    let stay = state.earlier.last().unwrap();
    assert!(stay.afloat && stay.until == now - TimeDelta::hours(1), "{stay:?}");
    for row in rows {
        assert!(!row.frozen_now && row.chance_limit > 0.9, "{row:?}");
        assert!(row.latest_start.is_some() && row.minutes > 0.0, "{row:?}");
    }
    assert!(lifted(480).1.iter().all(|row| row.frozen_now), "twenty days on land");
}

/// The air in her hull comes along: an hour after she was brought from 9 C into -6 C a hose in her engine bay has longer than one
/// that has been there all the time and was filled now.
#[test]
fn a_boat_brings_the_air_in_her_hull() {
    let now = at("2022-12-10T21:00:00Z");
    let danger = |log: &[(&str, i64, Option<&str>)]| {
        let (_, rows) = judged(now, log);
        let row = rows.iter().find(|row| row.circuit.as_str() == "manifold_raw").unwrap().clone();
        row.first_danger.unwrap()
    };
    let come = danger(&[("hauled", 2000, Some("QUAY")), ("moved_to", 1, Some("UPPER"))]);
    // In air of -6 C at once a manifold (time constant 1.9 h) has 5 % ice two hours on.
    assert!(come >= now + TimeDelta::hours(4), "{come}");
}

/// Brought from a mild place to a cold one an hour ago: liquid still. Three days ago: frozen. Never stirred: frozen.
#[test]
fn a_boat_brings_the_warmth_of_the_place_that_she_comes_from() {
    let now = at("2022-12-10T21:00:00Z");
    let brought =
        |hours| judged(now, &[("hauled", 2000, Some("QUAY")), ("moved_to", hours, Some("UPPER"))]);
    let (state, rows) = brought(1);
    assert_eq!(state.site.as_str(), "UPPER");
    assert!(rows.iter().all(|row| !row.frozen_now && row.minutes > 0.0), "{rows:?}");
    assert!(brought(96).1.iter().all(|row| row.frozen_now));
    let (state, rows) = judged(now, &[("hauled", 2000, Some("UPPER"))]);
    assert!(state.earlier.is_empty() && rows.iter().all(|row| row.frozen_now));
}

/// What is entered for the shed is its heat; a fan aboard one boat is not, nor is she missed by it when she leaves. An entry without
/// an hour stands where the record takes it.
#[test]
fn the_heat_of_a_place_is_what_is_entered_for_the_place() {
    let yard = yard();
    let now = at("2022-12-22T13:00:00Z");
    let entry = |id: &str, kind: &str, hours_ago: i64, boat: Option<&str>, precision: Precision| {
        let at = (now - TimeDelta::hours(hours_ago)).fixed_offset();
        let blank = LayupEvent::blank(id.into(), kind.to_owned(), at, Recorded);
        let site = boat.is_none().then(|| SiteId::from("SHED"));
        LayupEvent { boat: boat.map(Into::into), site, precision, ..blank }
    };
    let heat = |log: &[LayupEvent]| {
        let turns = heat_of_place(&"SHED".into(), log, now, now, &yard.catalogue);
        turns.iter().map(|turn| ((now - turn.at).num_hours(), turn.on)).collect::<Vec<_>>()
    };
    use Precision::{Day, Minute};
    let failed = entry("1", "heater_failed", 49, None, Minute);
    let fan = entry("2", "heat_on", 47, Some("B07"), Minute);
    assert_eq!(heat(&[failed.clone(), fan]), [(49, false)]);
    // Lit on a day without an hour (noon stands for it), failed at ten in the morning of that day.
    let lit = entry("3", "heat_on", 20, None, Day);
    let again = entry("4", "heater_failed", 22, None, Minute);
    assert_eq!(heat(&[failed.clone(), lit, again]), [(49, false), (22, true), (22, false)]);
    let lit = entry("5", "heat_on", 60, None, Minute);
    let cut = entry("6", "power_lost", 30, None, Minute);
    let back = entry("7", "power_restored", 3, None, Minute);
    assert_eq!(heat(&[lit, cut, back]), [(60, true), (30, false), (3, true)]);
    assert_eq!(heat(&[]), []);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Whatever the log says of where a boat was, its stays follow one another up to now, and every circuit is judged.
    #[test]
    fn any_wandering_is_judged(steps in prop::collection::vec((0_usize..9, 0_i64..1500, 0_usize..7), 0..12)) {
        let now = at("2022-12-10T21:00:00Z");
        const KINDS: [&str; 9] = [
            "hauled", "launched", "moved_to", "cover_on", "cover_off", "heat_on", "heat_off", "power_lost", "power_restored",
        ];
        const SITES: [Option<&str>; 7] =
            [None, Some("QUAY"), Some("UPPER"), Some("SHED"), Some("BARN"), Some("DOCK"), Some("NOWHERE")];
        let log: Vec<(&str, i64, Option<&str>)> = steps
            .iter()
            .map(|(kind, hours, site)| {
                (KINDS[*kind], *hours, SITES[*site])
            })
            .collect();
        let (state, rows) = judged(now, &log);
        prop_assert!(state.earlier.windows(2).all(|two| two[0].until <= two[1].until));
        prop_assert!(state.earlier.iter().all(|stay| stay.until <= now));
        prop_assert_eq!(rows.len(), 4);
        for row in rows {
            prop_assert!((0.0..=1.0).contains(&row.chance_limit));
        }
    }
}
