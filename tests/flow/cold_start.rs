//! The first day: a store that has never seen weather, and a snap in the forecast.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use rimeward::domain::weather::{Forecast, Step};

use super::round::{Yard, words};
use super::{code, json, rimeward, text};
use crate::support::at;

/// Noon of a mild day; from the next morning on it falls to -31 C.
const NOON: &str = "2022-11-25T12:10:00-05:00";

fn snap(from: DateTime<Utc>) -> Forecast {
    let air_c =
        |hour: i64| if hour < 20 { 2.0 } else { (2.0 - 3.3 * (hour - 19) as f64).max(-31.0) };
    let step = |hour: i64| Step {
        temperature_c: Some(air_c(hour)),
        dewpoint_c: Some(air_c(hour) - 4.0),
        wind_ms: Some(3.0),
        cloud: Some(0.8),
        ..Step::empty(from + TimeDelta::hours(hour))
    };
    Forecast {
        service: Service::NwsGridpoint.name().to_owned(),
        issued_at: from,
        cell_elevation_m: None,
        steps: (0..120).map(step).collect(),
        minima: Vec::new(),
        members: Vec::new(),
        missing: 0,
        warnings: Vec::new(),
    }
}

/// Mild days before, hour by hour, as forecast in their time.
fn mild(from: DateTime<Utc>, hours: i64) -> Forecast {
    let start = from - TimeDelta::hours(hours);
    let mut past = snap(start);
    past.steps = (0..hours)
        .map(|hour| Step {
            temperature_c: Some(3.0),
            dewpoint_c: Some(0.0),
            wind_ms: Some(3.0),
            cloud: Some(0.8),
            ..Step::empty(start + TimeDelta::hours(hour))
        })
        .collect();
    past
}

/// A yard with its boats and nothing on record, the snap in its store, `history` hours of mild days before.
fn yard(history: i64) -> Yard {
    let yard = Yard::open(NOON);
    yard.lose_the_weather();
    let tables = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo");
    for table in ["sites", "people", "boats"] {
        let file = format!("{tables}/{table}.csv");
        let imported = rimeward(Some(&yard.config()), &["import", table, &file]);
        assert_eq!(code(&imported), 0, "{table}: {}", text(&imported));
    }
    let hour = at("2022-11-25T12:00:00-05:00");
    let store = Store::open(yard.path("store.sqlite").as_ref(), Options::default()).unwrap();
    for site in store.sites().unwrap() {
        let answered = FetchState { last_answer_at: Some(hour), ..FetchState::default() };
        store
            .put_fetch_state(Service::NwsGridpoint.name(), &site.id, &answered, Some(hour))
            .unwrap();
        if history > 0 {
            let began = hour - TimeDelta::hours(history);
            store.put_forecast(&site.id, &mild(hour, history), began).unwrap();
        }
        store.put_forecast(&site.id, &snap(hour), hour).unwrap();
    }
    drop(store);
    yard
}

fn in_danger(yard: &Yard) -> Vec<(String, String, bool)> {
    let listed = rimeward(Some(&yard.config()), &["worklist", "--at", NOON, "--json"]);
    let listed = json(&listed);
    let rows = listed["rows"].as_array().unwrap().iter();
    let mut named: Vec<(String, String, bool)> = rows
        .filter(|row| !row["first_danger"].is_null())
        .map(|row| {
            let text = |key: &str| row[key].as_str().unwrap_or_default().to_owned();
            (text("boat"), text("circuit"), row["frozen_now"].as_bool().unwrap())
        })
        .collect();
    named.sort();
    named
}

#[test]
fn on_the_first_day_the_letter_goes_with_its_work_and_claims_no_ice() {
    let yard = yard(0);
    for now in [NOON, "2022-11-25T14:40:00-05:00"] {
        let round = yard.round(now, &[]);
        assert_eq!(code(&round), 0, "{}", text(&round));
    }
    let mails = yard.relay.received();
    let letters: Vec<String> = mails.iter().map(|mail| words(&mail.bytes)).collect();
    let letter = letters.iter().find(|mail| mail.contains("Second Biscuit, to be done by"));
    let letter = letter.unwrap_or_else(|| panic!("no letter: {letters:#?}"));
    assert!(letter.contains("Latest start:") && letter.contains("of work"), "{letter}");
    assert!(letter.contains("we know nothing of the cold here"), "{letter}");
    for letter in &letters {
        assert!(!letter.contains("frozen already. DO NOT START"), "{letter}");
        assert!(!letter.contains("may be frozen already;"), "{letter}");
    }
}

#[test]
fn a_fresh_store_and_one_with_history_name_the_same_parts() {
    let (fresh, known) = (in_danger(&yard(0)), in_danger(&yard(72)));
    assert!(fresh.len() > 20, "{fresh:?}");
    assert!(fresh.iter().all(|(_, _, frozen)| !frozen), "{fresh:?}");
    assert_eq!(fresh, known);
}
