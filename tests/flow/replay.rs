//! `rimeward replay`: a past winter over the record, on weather written here.

use std::fmt::Write as _;
use std::fs;

use chrono::{Duration, TimeDelta};

use super::{code, json, rimeward, text};
use crate::daemon::Home;
use crate::support::at;

/// A winter at +8 C but for six days at -14 C from 18 November, hour by hour from 2014-08-25 to 2015-06-05.
fn cold_week() -> String {
    let mut table = "station,time,temperature_c\n".to_owned();
    let mut time = at("2014-08-25T00:00:00Z");
    while time < at("2015-06-05T00:00:00Z") {
        let cold = (at("2014-11-18T00:00:00Z")..at("2014-11-24T00:00:00Z")).contains(&time);
        let _ = writeln!(table, "GYX,{},{}", time.to_rfc3339(), if cold { -14.0 } else { 8.0 });
        time += Duration::hours(1);
    }
    table
}

fn home() -> Home {
    let home = Home::new("replay", "maildir = \"Maildir\"");
    let tables = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
    let events = tables.join("layup_events.csv");
    let output = rimeward(Some(&home.config()), &["import", "events", events.to_str().unwrap()]);
    assert_eq!(code(&output), 0, "{}", text(&output));
    fs::write(home.folder.path().join("hours.csv"), cold_week()).unwrap();
    home
}

#[test]
fn a_cold_week_of_another_year_is_told_in_time_and_scored() {
    let home = home();
    let hours = home.folder.path().join("hours.csv");
    let hours = hours.to_str().unwrap();
    let ask = |more: &[&str]| {
        let args = [&["replay", hours, "--station", "GYX", "--site", "UPPER"], more].concat();
        rimeward(Some(&home.config()), &args)
    };
    let output = ask(&["--json"]);
    assert_eq!(code(&output), 0, "{}", text(&output));
    let said = json(&output);
    let winter = &said["winters"][0];
    // The record is of 2022-23: the week lies in the same days of that winter.
    assert_eq!((&winter["weather_winter"], &winter["record_winter"]), (&2014.into(), &2022.into()));
    let froze = winter["froze"].as_array().unwrap();
    let of = |boat: &str| froze.iter().find(|row| row["boat"] == boat);
    // The block of B02 was left wet.
    let block = of("B02").unwrap_or_else(|| panic!("{froze:?}"));
    let time = |row: &serde_json::Value| at(row.as_str().unwrap());
    let week = at("2022-11-18T00:00:00Z")..at("2022-11-25T00:00:00Z");
    assert!(week.contains(&time(&block["at"])), "{block}");
    assert!(time(&block["at"]) - time(&block["told"]) >= TimeDelta::hours(12), "{block}");
    assert_eq!(winter["severe_froze"]["never_told"], 0, "{winter}");
    let subjects: Vec<&str> = said["messages"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|message| message["person"] == "P02")
        .map(|message| message["subject"].as_str().unwrap())
        .collect();
    assert!(subjects.iter().any(|subject| subject.contains("Second Biscuit")), "{subjects:?}");
    assert_eq!(ask(&["--json"]).stdout, output.stdout, "the same seed, the same winter");

    let words = text(&ask(&[]));
    assert!(words.contains("The cold of 2014-15 over the record of 2022-23"), "{words}");
    assert!(words.contains("B02 Second Biscuit"), "{words}");
    let elsewhere = json(&ask(&["--json", "--boat", "B01"]));
    assert_eq!(elsewhere["winters"][0]["froze"], serde_json::json!([]), "it stands elsewhere");
}

#[test]
fn what_cannot_be_played_is_said_and_changes_nothing() {
    let home = home();
    let hours = home.folder.path().join("hours.csv");
    let hours = hours.to_str().unwrap();
    for (args, words) in [
        (vec!["replay"], "name a file with what was observed"),
        (vec!["replay", hours], "no row is about"),
        (vec!["replay", hours, "--station", "GYX", "--winter", "1999"], "winter 1999-00"),
        (vec!["replay", hours, "--station", "GYX", "--last", "0"], "1 to 40"),
        (vec!["replay", hours, "--station", "GYX", "--site", "NOWHERE"], "the yard has"),
        (vec!["replay", "missing.csv"], "missing.csv"),
    ] {
        let output = rimeward(Some(&home.config()), &args);
        assert_eq!(code(&output), 2, "{args:?}: {}", text(&output));
        assert!(text(&output).contains(words), "{args:?}: {}", text(&output));
    }
}
