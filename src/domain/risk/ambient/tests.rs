//! What parts feel behind hull, shed and water.

use std::sync::Arc;

use chrono::TimeDelta;

use super::*;
use crate::domain::boat::HeatTurn;
use crate::domain::catalogue::PartExposure;
use crate::domain::risk::timing::tests::site;
use crate::domain::units::Celsius;
use crate::domain::weather::usual::UsualAir;
use crate::domain::yard::{Site, SiteKind};

/// 48 h up to the start and 48 h beyond in air of `air_c`, clear and calm, ten members that are all alike.
fn weather(site: Site, air_c: f64, heat_on: bool) -> PlaceWeather {
    let at: DateTime<Utc> = "2022-12-10T05:00:00Z".parse().unwrap();
    let step = |hour: i64| Step {
        temperature_c: Some(air_c),
        dewpoint_c: Some(air_c - 4.0),
        wind_ms: Some(0.5),
        cloud: Some(0.0),
        ..Step::empty(at + TimeDelta::hours(hour))
    };
    let coming: Vec<Step> = (0..48).map(step).collect();
    let model = crate::domain::weather::errors::ErrorModel {
        sd_k: 0.0,
        growth_k_per_h: 0.0,
        place_sd_k: 0.0,
        ..Default::default()
    };
    let paths = Ensemble::draw(&coming, 0.0, &model, 10, 1);
    PlaceWeather {
        site,
        at,
        past: (-48..0).map(step).collect(),
        coming,
        paths,
        heat: turned(DateTime::<Utc>::MIN_UTC, heat_on),
        elsewhere: Arc::default(),
        usual: UsualAir::default(),
    }
}

fn turned(at: DateTime<Utc>, on: bool) -> Heat {
    Heat::switched(vec![HeatTurn { at, on }])
}

fn first_hour_c(ambient: &Ambient) -> f64 {
    f64::from(*ambient.coming.by_hour().next().unwrap().first().unwrap())
}

fn last_hour_c(ambient: &Ambient) -> f64 {
    f64::from(*ambient.coming.by_hour().last().unwrap().first().unwrap())
}

fn of(exposure: PartExposure, covered: bool, weather: &PlaceWeather) -> Ambient {
    let afloat = weather.site.kind == SiteKind::Afloat;
    let part = Whereabouts { exposure, covered, afloat, hauled: None };
    Ambient::of(part, weather, Power::AsLogged).unwrap()
}

fn at_site(kind: SiteKind, night_offset_k: f64) -> Site {
    Site { kind, night_offset_k, ..site() }
}

#[test]
fn a_clear_calm_night_is_colder_under_the_sky_and_nowhere_else() {
    let lot = weather(at_site(SiteKind::Outdoor, 0.0), 0.0, false);
    // The sky balance on a small body: -2 to -4 K on a clear calm night.
    let open_c = first_hour_c(&of(PartExposure::Open, false, &lot));
    assert!((-4.0..-2.0).contains(&open_c), "{open_c}");
    assert_eq!(first_hour_c(&of(PartExposure::Deck, false, &lot)), 0.0);
    assert_eq!(first_hour_c(&of(PartExposure::Open, true, &lot)), 0.0);
    let hull_c = first_hour_c(&of(PartExposure::InsideHull, false, &lot));
    assert!((-1.0..-0.5).contains(&hull_c), "{hull_c}");
}

#[test]
fn the_cold_of_a_hollow_is_counted_once() {
    // The place's own -3 K is in its air already; the hull's allowance of -1 K is the same cold.
    let hollow = weather(at_site(SiteKind::Outdoor, -3.0), 0.0, false);
    assert_eq!(first_hour_c(&of(PartExposure::InsideHull, false, &hollow)), 0.0);
    let slight = weather(at_site(SiteKind::Outdoor, -0.4), 0.0, false);
    let hull_c = first_hour_c(&of(PartExposure::InsideHull, false, &slight));
    assert!((-0.6..-0.3).contains(&hull_c), "{hull_c}");
    // A wet hose under the sky radiates wherever it stands.
    assert!(first_hour_c(&of(PartExposure::Open, false, &hollow)) < -2.0);
}

#[test]
fn water_holds_up_what_lies_below_it_and_nothing_else() {
    let mut berth = at_site(SiteKind::Afloat, 0.0);
    berth.water_kind = "sea".into();
    berth.water_temperature_c = vec![4.0; 12];
    let cold = weather(berth.clone(), -15.0, false);
    let below_c = last_hour_c(&of(PartExposure::BelowWaterline, false, &cold));
    assert!((below_c - (0.75 * 4.0 - 0.25 * 15.0)).abs() < 0.05, "{below_c}");
    assert!(last_hour_c(&of(PartExposure::Open, false, &cold)) < -15.0);
    berth.water_temperature_c = vec![-10.0; 12];
    let frozen = weather(berth, -15.0, false);
    let below_c = last_hour_c(&of(PartExposure::BelowWaterline, false, &frozen));
    assert!((below_c - (0.75 * -1.9 - 0.25 * 15.0)).abs() < 0.05, "{below_c}");
}

#[test]
fn a_boat_that_was_lifted_at_a_berth_stands_in_the_air() {
    let mut berth = at_site(SiteKind::Afloat, 0.0);
    berth.water_kind = "sea".into();
    berth.water_temperature_c = vec![8.0; 12];
    let cold = weather(berth, -10.0, false);
    let exposure = PartExposure::EngineBay;
    let part = Whereabouts { exposure, covered: false, afloat: false, hauled: None };
    let felt = Ambient::of(part, &cold, Power::AsLogged).unwrap();
    assert!(last_hour_c(&felt) < -9.9, "{}", last_hour_c(&felt));
}

#[test]
fn a_boat_that_is_to_be_hauled_feels_the_water_until_then_and_the_lot_from_then_on() {
    let mut lot = at_site(SiteKind::Outdoor, 0.0);
    lot.water_kind = "sea".into();
    lot.water_temperature_c = vec![8.0; 12];
    let cold = weather(lot, -10.0, false);
    let part = Whereabouts {
        exposure: PartExposure::EngineBay,
        covered: false,
        afloat: true,
        hauled: Some((cold.at + TimeDelta::hours(24), PartExposure::EngineBay)),
    };
    let felt = Ambient::of(part, &cold, Power::AsLogged).unwrap();
    let hours: Vec<f64> =
        felt.coming.by_hour().map(|air| f64::from(*air.first().unwrap())).collect();
    assert!(hours[23] > 0.0, "in the water: {hours:?}");
    assert!(hours[24] < -9.0 && hours[47] < -9.0, "in the cradle: {hours:?}");
    assert!(felt.coldest_c < -9.0);
}

#[test]
fn a_heated_shed_repeats_its_soak_test_once_the_power_fails() {
    let mut shed = at_site(SiteKind::IndoorHeated, -3.0);
    shed.heat_setpoint = Some(Celsius::clamped(7.0));
    (shed.soak_hours, shed.soak_outside) = (Some(9.0), Some(Celsius::clamped(-10.0)));
    let heated = weather(shed, -10.0, true);
    let on = of(PartExposure::Deck, false, &heated);
    assert_eq!((last_hour_c(&on), on.coldest_c), (7.0, 7.0));
    let part =
        Whereabouts { exposure: PartExposure::Deck, covered: false, afloat: false, hauled: None };
    let off = Ambient::of(part, &heated, Power::FailsNow).unwrap();
    assert!(off.past.air_c.iter().all(|t| *t == 7.0));
    let hours: Vec<f64> =
        off.coming.by_hour().map(|air| f64::from(*air.first().unwrap())).collect();
    // 9 h from 7 C to 0 C in air of -10 C.
    assert!(hours[8].abs() < 0.01 && hours[7] > 0.0, "{hours:?}");
}

#[test]
fn a_shed_whose_power_went_two_hours_ago_was_warm_until_then() {
    let mut shed = at_site(SiteKind::IndoorHeated, 0.0);
    shed.heat_setpoint = Some(Celsius::clamped(7.0));
    (shed.soak_hours, shed.soak_outside) = (Some(9.0), Some(Celsius::clamped(-10.0)));
    let mut cold = weather(shed, -10.0, false);
    for step in &mut cold.past {
        step.temperature_c = Some(-10.0);
    }
    assert!(first_hour_c(&of(PartExposure::Deck, false, &cold)) < -5.0, "nobody says when");
    cold.heat = turned(cold.at - TimeDelta::hours(2), false);
    let felt = of(PartExposure::Deck, false, &cold);
    let before = felt.past.air_c.len() - 2;
    assert!(felt.past.air_c.iter().take(before).all(|t| *t == 7.0), "{:?}", felt.past.air_c);
    let now_c = first_hour_c(&felt);
    assert!((3.0..6.0).contains(&now_c), "{now_c}");
    let hours: Vec<f64> =
        felt.coming.by_hour().map(|air| f64::from(*air.first().unwrap())).collect();
    // Nine hours from the cut to 0 C, two of them gone.
    assert!(hours[6].abs() < 0.2, "{hours:?}");
}

#[test]
fn a_boat_that_is_still_to_be_hauled_into_a_heated_shed_has_nothing_of_its_heat() {
    let mut shed = at_site(SiteKind::IndoorHeated, 0.0);
    shed.heat_setpoint = Some(Celsius::clamped(7.0));
    let cold = weather(shed, -10.0, true);
    let part = |afloat| Whereabouts {
        exposure: PartExposure::InsideHull,
        covered: false,
        afloat,
        hauled: None,
    };
    let felt = |afloat| Ambient::of(part(afloat), &cold, Power::AsLogged).unwrap();
    assert!(last_hour_c(&felt(false)) > 6.9 && last_hour_c(&felt(true)) < -9.9);
}

#[test]
fn heat_that_is_back_has_not_undone_the_cold_of_the_night() {
    let mut shed = at_site(SiteKind::IndoorHeated, 0.0);
    shed.heat_setpoint = Some(Celsius::clamped(7.0));
    (shed.soak_hours, shed.soak_outside) = (Some(9.0), Some(Celsius::clamped(-10.0)));
    let mut cold = weather(shed, -10.0, true);
    let turn =
        |hours_ago: i64, on: bool| HeatTurn { at: cold.at - TimeDelta::hours(hours_ago), on };
    cold.heat = Heat::switched(vec![turn(44, false), turn(2, true)]);
    let felt = of(PartExposure::Deck, false, &cold);
    let before_c = *felt.past.air_c.get(45).unwrap();
    let now_c = *felt.past.air_c.last().unwrap();
    assert!(before_c < -8.5 && now_c > before_c && now_c < -4.0, "{before_c} {now_c}");
    assert!(last_hour_c(&felt) > 6.0, "warm again in two days: {}", last_hour_c(&felt));
}

#[test]
fn an_unheated_shed_lags() {
    let mut barn = weather(at_site(SiteKind::IndoorUnheated, 0.0), -10.0, false);
    for step in &mut barn.past {
        step.temperature_c = Some(5.0);
    }
    let felt = of(PartExposure::Deck, false, &barn);
    assert!(first_hour_c(&felt) > 0.0 && last_hour_c(&felt) < -9.9);
}
