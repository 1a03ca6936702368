//! The payloads that we wrote in the service's format.

use rimeward::adapters::weather::nws::{
    parse_gridpoint, parse_hourly, parse_observation, parse_points,
};
use rimeward::adapters::weather::{Context, PayloadError};
use rimeward::domain::weather::Forecast;
use serde_json::{Value, json};

pub const GRIDPOINT: &str = include_str!("../payloads/nws/gridpoint_own.json");
pub const HOURLY: &str = include_str!("../payloads/nws/hourly_own.json");
pub const OBSERVATION: &str = include_str!("../payloads/nws/observation_own.json");
pub const POINTS: &str = include_str!("../payloads/nws/points_own.json");
pub const PROBLEM: &str = include_str!("../payloads/nws/problem_own.json");

fn quay() -> Context {
    Context { place: "44.19,-69.07".parse().ok(), now: None }
}

fn changed(change: impl FnOnce(&mut Value)) -> Result<Forecast, PayloadError> {
    let mut document: Value = serde_json::from_str(GRIDPOINT).unwrap();
    change(&mut document);
    parse_gridpoint(document.to_string().as_bytes(), &quay())
}

#[test]
fn a_gridpoint_becomes_hours() {
    let forecast = parse_gridpoint(GRIDPOINT.as_bytes(), &quay()).unwrap();
    assert_eq!(forecast.service, "nws-gridpoint");
    assert_eq!(forecast.issued_at.to_rfc3339(), "2022-11-14T19:12:00+00:00");
    assert_eq!(forecast.cell_elevation_m, Some(4.0));
    assert_eq!(forecast.steps.len(), 60, "1+2+1+3+5+1+2+4+26+15 hours");
    assert_eq!(forecast.steps[0].time.to_rfc3339(), "2022-11-14T18:00:00+00:00");
    assert_eq!(forecast.steps[0].temperature_c, Some(5.0), "41 F");
    assert_eq!(forecast.steps[12].temperature_c, None, "the null hour");
    assert_eq!(forecast.missing, 1);
    assert_eq!(forecast.steps[44].temperature_c, forecast.steps[20].temperature_c);
    assert!((forecast.steps[0].wind_ms.unwrap() - 9.26 / 3.6).abs() < 1e-9);
    assert_eq!(forecast.steps[0].cloud, Some(0.12));
    assert_eq!(forecast.steps[59].dewpoint_c, None, "that layer ends earlier");
    assert_eq!(forecast.minima.len(), 2);
    assert!((forecast.minima[0].temperature_c + 4.4444).abs() < 1e-9);
    assert_eq!(forecast.warnings, Vec::<String>::new());
}

#[test]
fn units_are_taken_from_the_document() {
    let forecast = changed(|d| {
        d["properties"]["temperature"] = json!({"uom": "wmoUnit:K", "values": [
            {"validTime": "2022-11-14T18:00:00+00:00/PT3H", "value": 268.15},
            {"validTime": "2022-11-14T21:00:00+00:00/P1DT3H", "value": 270.15}]});
        d["properties"]["windSpeed"]["uom"] = json!("wmoUnit:m_s-1");
    })
    .unwrap();
    assert!((forecast.steps[0].temperature_c.unwrap() + 5.0).abs() < 1e-9);
    assert_eq!(forecast.steps.len(), 30);
    assert_eq!(forecast.steps[0].wind_ms, Some(9.26));
    let refusal = changed(|d| {
        d["properties"]["temperature"].as_object_mut().unwrap().remove("uom");
    });
    assert!(matches!(refusal, Err(PayloadError::Unit { .. })), "{refusal:?}");
}

#[test]
fn optional_layers_may_be_anything() {
    for odd in [Value::Null, json!([]), json!({"values": []}), json!("none"), json!({"values": 3})]
    {
        let forecast = changed(|d| {
            for key in ["dewpoint", "windSpeed", "skyCover", "minTemperature", "elevation"] {
                d["properties"][key] = odd.clone();
            }
        })
        .unwrap();
        assert_eq!(forecast.missing, 1);
        assert!(forecast.warnings.iter().any(|w| w.contains("no dewpoint")), "{forecast:?}");
    }
}

#[test]
fn impossible_values_are_dropped_and_counted() {
    let forecast = changed(|d| {
        d["properties"]["temperature"]["values"][1]["value"] = json!(9.96921e36);
    })
    .unwrap();
    assert_eq!(forecast.missing, 3);
    assert_eq!(forecast.warnings, ["1 values of temperature dropped as impossible"]);
    let forecast = changed(|d| {
        d["properties"]["temperature"]["values"][1]["value"] = json!(31.0);
    })
    .unwrap();
    assert_eq!(forecast.missing, 3, "two hours at 31 C between 5 C and 2 C");
}

#[test]
fn what_cannot_serve_is_refused_with_the_reason() {
    let words = |result: Result<Forecast, PayloadError>| result.unwrap_err().to_string();
    let all_null = words(changed(|d| {
        for entry in d["properties"]["temperature"]["values"].as_array_mut().unwrap() {
            entry["value"] = Value::Null;
        }
    }));
    assert!(all_null.contains("none of the 60 hours"), "{all_null}");
    let stuck = words(changed(|d| {
        for entry in d["properties"]["temperature"]["values"].as_array_mut().unwrap() {
            entry["value"] = json!(1.5);
        }
    }));
    assert!(stuck.contains("stuck"), "{stuck}");
    let elsewhere = words(changed(|d| {
        d["geometry"] = json!({"type": "Point", "coordinates": [44.19, -69.07]});
    }));
    assert!(elsewhere.contains("44.19,-69.07"), "{elsewhere}");
    let old = words(changed(|d| d["properties"]["updateTime"] = json!("1970-01-01T00:00:00Z")));
    assert!(old.contains("dates"), "{old}");
    let apart = words(changed(|d| d["properties"]["updateTime"] = json!("2023-06-01T00:00:00Z")));
    assert!(apart.contains("dates"), "{apart}");
    let problem = words(parse_gridpoint(PROBLEM.as_bytes(), &quay()));
    assert!(problem.contains("404 Data Unavailable"), "{problem}");
    let page = words(parse_gridpoint(b"<html>busy</html>", &quay()));
    assert!(page.contains("web page"), "{page}");
    let cut = words(parse_gridpoint(&GRIDPOINT.as_bytes()[..2000], &quay()));
    assert!(cut.contains("EOF"), "{cut}");
    let ahead = Context { now: Some("2022-11-14T12:00:00Z".parse().unwrap()), ..quay() };
    let ahead = words(parse_gridpoint(GRIDPOINT.as_bytes(), &ahead));
    assert!(ahead.contains("ahead of our clock"), "{ahead}");
}

#[test]
fn an_endless_interval_is_cut() {
    let forecast = changed(|d| {
        d["properties"]["temperature"]["values"][9]["validTime"] =
            json!("2022-11-16T15:00:00+00:00/P99999D");
    })
    .unwrap();
    assert!(forecast.steps.len() <= 16 * 24 + 2, "{}", forecast.steps.len());
}

#[test]
fn the_hourly_copy_is_read_in_both_forms() {
    let forecast = parse_hourly(HOURLY.as_bytes(), &quay()).unwrap();
    assert_eq!((forecast.steps.len(), forecast.missing), (30, 0));
    assert_eq!(forecast.issued_at.to_rfc3339(), "2022-11-14T19:12:00+00:00");
    assert_eq!(forecast.steps[0].time.to_rfc3339(), "2022-11-14T19:00:00+00:00");
    assert!((forecast.steps[0].temperature_c.unwrap() - 8.0 / 1.8).abs() < 1e-9);
    assert!((forecast.steps[1].temperature_c.unwrap() - 3.8889).abs() < 1e-9);
    assert!((forecast.steps[0].wind_ms.unwrap() - 4.4704).abs() < 1e-9);
    assert!((forecast.steps[1].wind_ms.unwrap() - 16.0 / 3.6).abs() < 1e-9);
}

#[test]
fn a_cell_and_a_reading_are_read() {
    let cell = parse_points(POINTS.as_bytes(), &quay()).unwrap();
    assert_eq!(cell.grid_path(), "/gridpoints/GYX/98,71");
    let reading = parse_observation(OBSERVATION.as_bytes(), &Context::default()).unwrap();
    assert_eq!(reading.step.temperature_c, Some(4.4));
    assert_eq!(reading.step.dewpoint_c, None);
}

/// One entry that claims to hold for centuries says nothing of any hour.
#[test]
fn a_temperature_that_holds_for_ever_is_not_read() {
    let forecast = changed(|d| {
        d["properties"]["temperature"]["values"]
            .as_array_mut()
            .unwrap()
            .push(json!({"validTime": "2022-11-14T18:00:00+00:00/P9999999D", "value": 20.0}));
    })
    .unwrap();
    assert_eq!(forecast.steps.len(), 60, "as without it");
    assert!(
        forecast.warnings.iter().any(|warning| warning.contains("without a usable time")),
        "{:?}",
        forecast.warnings
    );
}
