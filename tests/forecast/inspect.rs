//! `inspect` from the inside: what it prints and what it refuses.

use std::path::{Path, PathBuf};

use rimeward::cli::inspect::{Args, InspectError, run};
use serde_json::Value;

fn payload(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/payloads/nws").join(name)
}

fn inspect(
    service: &str,
    name: &str,
    place: Option<&str>,
    as_json: bool,
) -> (Option<String>, String) {
    let place = place.map(str::to_owned);
    let args = Args { service: service.to_owned(), file: payload(name), place };
    let mut out = Vec::new();
    let error = run(&args, as_json, &mut out).err().map(|e| {
        let cause = std::error::Error::source(&e).map(|c| format!(": {c}")).unwrap_or_default();
        format!("{e}{cause}")
    });
    (error, String::from_utf8(out).unwrap())
}

#[test]
fn the_json_has_the_shape_of_the_contract() {
    let (error, out) = inspect("nws-gridpoint", "gridpoint_own.json", Some("44.19,-69.07"), true);
    assert_eq!(error, None);
    let document: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(document["service"], "nws-gridpoint");
    assert_eq!(document["issued"], "2022-11-14T19:12:00+00:00");
    assert_eq!((document["members"].as_u64(), document["missing"].as_u64()), (Some(0), Some(1)));
    let steps = document["steps"].as_array().unwrap();
    assert_eq!(steps.len(), 60);
    assert_eq!(steps[0]["time"], "2022-11-14T18:00:00+00:00");
    assert_eq!(steps[0]["temperature_c"].as_f64(), Some(5.0));
    assert_eq!(steps[12]["temperature_c"], Value::Null);
    for key in ["p10_c", "p90_c", "dewpoint_c", "wind_ms", "cloud"] {
        assert!(steps[0].get(key).is_some(), "{key}");
    }
}

#[test]
fn people_read_both_scales() {
    let (error, out) = inspect("nws-gridpoint", "gridpoint_own.json", None, false);
    assert_eq!(error, None);
    assert!(out.contains("Issued 2022-11-14 19:12Z, 60 hours"), "{out}");
    assert!(out.contains("41 F (5 C)") && out.contains("Night minima"), "{out}");
    let (error, out) = inspect("nws-hourly", "hourly_own.json", None, false);
    assert!(error.is_none() && out.contains("30 hours"), "{out}");
    let (error, out) = inspect("nws-observation", "observation_own.json", None, false);
    assert!(error.is_none() && out.contains("station QQQQ"), "{out}");
}

#[test]
fn what_cannot_serve_is_refused_in_words() {
    let refusal = |service, name, place| inspect(service, name, place, false).0.unwrap();
    let elsewhere = refusal("nws-gridpoint", "gridpoint_own.json", Some("-69.07,44.19"));
    assert!(elsewhere.contains("the place asked for is -69.07,44.19"), "{elsewhere}");
    let problem = refusal("nws-gridpoint", "problem_own.json", None);
    assert!(problem.contains("404 Data Unavailable"), "{problem}");
    let other = refusal("nws-hourly", "gridpoint_own.json", None);
    assert!(other.contains("no usable periods"), "{other}");
    let unknown = refusal("almanac", "gridpoint_own.json", None);
    assert!(unknown.contains("are not read") && unknown.contains("nws-hourly"), "{unknown}");
    let absent = refusal("nws-hourly", "absent.json", None);
    assert!(absent.contains("absent.json"), "{absent}");
    let nowhere = refusal("nws-hourly", "hourly_own.json", Some("north"));
    assert!(nowhere.contains("latitude,longitude"), "{nowhere}");
    let (error, out) = inspect("nws-gridpoint", "problem_own.json", None, true);
    let document: Value = serde_json::from_str(&out).unwrap();
    assert!(error.is_some() && document["refused"].is_string());
}

#[test]
fn a_missing_file_is_a_file_error() {
    let args = Args { service: "nws-hourly".into(), file: payload("absent.json"), place: None };
    assert!(matches!(run(&args, false, &mut Vec::new()), Err(InspectError::File { .. })));
}

#[test]
fn a_southern_or_western_place_is_no_option() {
    #[derive(clap::Parser)]
    struct Line {
        #[command(flatten)]
        args: Args,
    }
    let words = ["inspect", "--service", "nws-hourly", "file.json", "--place", "-33.9,18.4"];
    let line = <Line as clap::Parser>::try_parse_from(words).unwrap();
    assert_eq!(line.args.place.as_deref(), Some("-33.9,18.4"));
}
