//! Forecasts as they stood.

use chrono::TimeDelta;
use rimeward::adapters::sqlite::Store;
use rimeward::app::assess::forecast_cache::WeatherMemory;
use rimeward::app::ports::*;
use rimeward::domain::weather::{Forecast, Step, WindowMinimum};
use serde_json::{Value, json};

use crate::support::at;

fn forecast(issued: &str, low: f64) -> Forecast {
    let issued_at = at(issued);
    let steps = (0..48_u32)
        .map(|hour| {
            let mut step = Step::empty(issued_at + TimeDelta::hours(i64::from(hour)));
            // Thirds of degrees: they come back to the last bit, or this fails.
            step.temperature_c = (hour != 5).then(|| low + f64::from(hour) / 3.0);
            step.wind_ms = Some(f64::from(hour) * 0.1 + 0.05);
            step
        })
        .collect();
    Forecast {
        service: "nws-gridpoint".to_owned(),
        issued_at,
        cell_elevation_m: Some(12.5),
        steps,
        members: vec![],
        minima: vec![WindowMinimum {
            start: issued_at,
            end: issued_at + TimeDelta::hours(13),
            temperature_c: low,
        }],
        missing: 1,
        warnings: vec!["one hour is missing".to_owned()],
    }
}

#[test]
fn a_forecast_comes_back_to_the_last_bit() {
    let store = Store::open_in_memory().unwrap();
    let given = forecast("2023-02-02T06:00:00Z", -17.0 / 3.0);
    assert!(store.put_forecast(&"QUAY".into(), &given, at("2023-02-02T06:20:00Z")).unwrap());
    let known = at("2023-02-02T06:30:00Z");
    let stored = store.latest_forecast(&"QUAY".into(), None, known).unwrap().unwrap();
    assert_eq!(stored.forecast, given);
    assert_eq!(stored.fetched_at, at("2023-02-02T06:20:00Z"));
    let mut gaps = given;
    gaps.issued_at += TimeDelta::hours(1);
    gaps.steps.remove(7);
    store.put_forecast(&"QUAY".into(), &gaps, at("2023-02-02T07:20:00Z")).unwrap();
    let known = at("2023-02-02T07:30:00Z");
    let stored = store.latest_forecast(&"QUAY".into(), None, known).unwrap().unwrap();
    assert_eq!(stored.forecast, gaps);
}

#[test]
fn the_same_issue_is_kept_once_with_its_first_fetch() {
    let store = Store::open_in_memory().unwrap();
    let site = "QUAY".into();
    let given = forecast("2023-02-02T06:00:00Z", -5.0);
    assert!(store.put_forecast(&site, &given, at("2023-02-02T06:20:00Z")).unwrap());
    assert!(!store.put_forecast(&site, &given, at("2023-02-02T07:20:00Z")).unwrap());
    // Other words under the same issue time are another answer, and both stood.
    let other = forecast("2023-02-02T06:00:00Z", -6.0);
    assert!(store.put_forecast(&site, &other, at("2023-02-02T08:20:00Z")).unwrap());
    let all = store
        .forecasts_between(&site, at("2023-02-02T00:00:00Z"), at("2023-02-03T00:00:00Z"))
        .unwrap();
    assert_eq!(all.iter().map(|f| f.forecast.clone()).collect::<Vec<_>>(), [other, given]);
    let until = store
        .forecasts_between(&site, at("2023-02-02T06:20:00Z"), at("2023-02-02T08:20:00Z"))
        .unwrap();
    assert_eq!(until.len(), 1, "the start of the interval is not in it, its end is");
}

#[test]
fn what_was_known_then_leaves_out_what_came_later() {
    let store = Store::open_in_memory().unwrap();
    let site = "QUAY".into();
    let old = forecast("2023-02-02T00:00:00Z", -5.0);
    let new = forecast("2023-02-02T06:00:00Z", -9.0);
    store.put_forecast(&site, &new, at("2023-02-02T06:20:00Z")).unwrap();
    // A late answer with an older issue does not become the latest.
    store.put_forecast(&site, &old, at("2023-02-02T06:40:00Z")).unwrap();
    let latest = |known: &str| {
        store.latest_forecast(&site, None, at(known)).unwrap().map(|f| f.forecast.issued_at)
    };
    assert_eq!(latest("2023-02-02T06:00:00Z"), None);
    assert_eq!(latest("2023-02-02T06:20:00Z"), Some(new.issued_at));
    assert_eq!(latest("2023-02-02T12:00:00Z"), Some(new.issued_at));
    let none =
        store.latest_forecast(&site, Some("met-norway"), at("2023-02-02T12:00:00Z")).unwrap();
    assert_eq!(none, None);
}

#[test]
fn the_fetcher_finds_its_own_notes_again() {
    let store = Store::open_in_memory().unwrap();
    let site = "QUAY".into();
    assert!(store.fetch_state::<Value>("nws-gridpoint", &site).unwrap().is_none());
    let first = at("2023-02-02T06:20:00Z");
    store.put_fetch_state("nws-gridpoint", &site, &json!({"etag": "a"}), Some(first)).unwrap();
    store.put_fetch_state("nws-gridpoint", &site, &json!({"failures": 1}), None).unwrap();
    let state = store.fetch_state::<Value>("nws-gridpoint", &site).unwrap().unwrap();
    assert_eq!((state.document, state.last_answer), (json!({"failures": 1}), Some(first)));
}

#[test]
fn old_forecasts_go_but_never_those_that_an_alert_was_decided_on() {
    let store = Store::open_in_memory().unwrap();
    let site = "QUAY".into();
    for issued in ["2022-11-01T06:00:00Z", "2022-11-05T06:00:00Z", "2023-02-02T06:00:00Z"] {
        let given = forecast(issued, -5.0);
        store.put_forecast(&site, &given, at(issued) + TimeDelta::minutes(20)).unwrap();
    }
    // Decided an hour after the second was had.
    let decided = at("2022-11-05T07:20:00Z");
    let round = RoundCommit {
        alerts: vec![AlertRecord {
            id: "freeze-B02-1".to_owned(),
            kind: "freeze".to_owned(),
            boat: Some("B02".into()),
            site: "QUAY".into(),
            open: false,
            revision: 1,
            raised_at: decided,
            closed_at: Some(decided),
            document: json!({}),
        }],
        transitions: vec![TransitionRow {
            alert: "freeze-B02-1".to_owned(),
            revision: 1,
            at: decided,
            change: "NORM to UNACK".to_owned(),
            decided_on: json!({}),
        }],
        ..RoundCommit::default()
    };
    store.commit_round(&round).unwrap();
    let before = at("2023-01-01T00:00:00Z");
    assert_eq!(store.thin_forecasts(before, 10).unwrap(), 1);
    assert_eq!(store.thin_forecasts(before, 10).unwrap(), 0, "nothing more to take");
    let (from, until) = (at("2022-10-01T00:00:00Z"), at("2023-03-01T00:00:00Z"));
    let mut left: Vec<String> = store
        .forecasts_between(&site, from, until)
        .unwrap()
        .iter()
        .map(|stored| stored.forecast.issued_at.format("%d %b").to_string())
        .collect();
    left.sort();
    assert_eq!(left, ["02 Feb", "05 Nov"]);
}

/// A round under a clock that ran ahead, or an issue that says it is of the future, must not shut out the true ones.
#[test]
fn what_came_under_a_fast_clock_shuts_nothing_out() {
    let store = Store::open_in_memory().unwrap();
    let site = "QUAY".into();
    let fast = forecast("2031-12-01T12:00:00Z", 9.0);
    store.put_forecast(&site, &fast, at("2031-12-01T12:10:00Z")).unwrap();
    let ahead = forecast("2026-12-01T14:50:00Z", 9.0);
    store.put_forecast(&site, &ahead, at("2026-12-01T12:00:00Z")).unwrap();
    let service = "nws-gridpoint";
    let now = at("2026-12-01T12:30:00Z");
    assert_eq!(store.latest_issue(&site, service, now).unwrap(), None);
    let truth = forecast("2026-12-01T12:20:00Z", -25.0);
    store.put_forecast(&site, &truth, now).unwrap();
    let found = store.latest_issue(&site, service, now).unwrap();
    assert_eq!(found, Some(truth.issued_at));
    let newest = WeatherMemory::default().newest_of(&store, &site, Some(service), now).unwrap();
    assert_eq!(newest.unwrap().issued_at, truth.issued_at, "by when it came, not by what it says");
}
