//! Circuits against the coming cold, from the library's side.

use chrono::TimeDelta;
use rimeward::domain::boat::{CircuitId, LayupEvent, fold};
use rimeward::domain::risk::ambient::PlaceWeather;
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

/// Lifted out of the water an hour ago into air of -6 C: nothing has frozen yet, and it is to be drained now. The forty days before were cold as well, but on land.
#[test]
fn a_boat_that_was_lifted_an_hour_ago_is_still_to_be_drained() {
    let yard = yard();
    let mut boat = yard.boats.iter().find(|boat| boat.id.as_str() == "B02").unwrap().clone();
    boat.fitted = vec!["block_raw".into(), "manifold_raw".into(), "strainer".into()];
    let now = at("2022-12-10T21:00:00Z");
    let lifted = |hours_ago: i64| {
        let entry = |id: &str, kind: &str, at: chrono::DateTime<chrono::Utc>| LayupEvent {
            boat: Some(boat.id.clone()),
            ..LayupEvent::blank(
                id.into(),
                kind.to_owned(),
                at.fixed_offset(),
                rimeward::domain::boat::Evidence::Recorded,
            )
        };
        let log = [
            entry("1", "launched", now - TimeDelta::days(60)),
            entry("2", "hauled", now - TimeDelta::hours(hours_ago)),
        ];
        let state = fold(&boat, &yard.sites, &log, now, now, &yard.catalogue);
        assert_eq!(state.lifted_at, Some(now - TimeDelta::hours(hours_ago)));
        let step = |hour: i64| Step {
            temperature_c: Some(-6.0),
            cloud: Some(1.0),
            wind_ms: Some(1.0),
            ..Step::empty(now + TimeDelta::hours(hour))
        };
        let coming: Vec<Step> = (0..72).map(step).collect();
        let weather = PlaceWeather {
            site: yard.sites.iter().find(|site| site.id == boat.site).unwrap().clone(),
            at: now,
            past: (-960..0).map(step).collect(),
            paths: Ensemble::draw(&coming, 2.0, &ErrorModel::default(), 64, 7),
            coming,
            heat: Default::default(),
        };
        let mut judge = Judge::new(&weather, &yard.catalogue, JudgeSettings::default());
        judge.boat(&boat, &state).unwrap()
    };
    for row in lifted(1) {
        assert!(!row.frozen_now && row.chance_limit > 0.9, "{row:?}");
        assert!(row.latest_start.is_some() && row.minutes > 0.0, "{row:?}");
    }
    assert!(lifted(480).iter().all(|row| row.frozen_now), "twenty days on land");
}
