//! What a place's own thermometer teaches: from a table of nights or a logger's rows to the worklist's low.

use chrono::NaiveDate;
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use rimeward::domain::boat::SiteId;
use rimeward::domain::weather::learned::ReadNight;
use serde_json::Value;

use crate::flow::{code, json, rimeward, text};
use crate::support::TempDir;

const LATE: &str = "2030-01-01T00:00:00Z";

/// The demonstration's first days, in a folder of its own.
fn demo(folder: &TempDir) -> std::path::PathBuf {
    let kept = folder.path().join("demo");
    let made =
        rimeward(None, &["demo", "--keep", kept.to_str().unwrap(), "--at", "2022-10-04T06:30"]);
    assert_eq!(code(&made), 0, "{}", text(&made));
    kept.join("rimeward.toml")
}

fn low(config: &std::path::Path) -> f64 {
    let args = ["worklist", "--site", "UPPER", "--at", "2022-10-04T06:30", "--json"];
    let found = json(&rimeward(Some(config), &args));
    found["sites"][0]["low"]["median_c"].as_f64().unwrap()
}

#[test]
fn nights_that_were_colder_than_forecast_make_the_place_colder() {
    let folder = TempDir::new("place");
    let config = demo(&folder);
    let table = folder.path().join("nights.csv");
    std::fs::write(
        &table,
        "site_id,morning,low_f,high_f\nUPPER,2022-10-02,21,55\nUPPER,3 Oct 2022,20.5,\nUPPER,2022-10-04,20,\n",
    )
    .unwrap();
    let bring = |args: &[&str]| {
        let all = [&["import", "readings", table.to_str().unwrap()], args].concat();
        rimeward(Some(&config), &all)
    };
    let dry = bring(&["--dry-run"]);
    assert!(text(&dry).contains("3 added") && text(&dry).contains("nothing was changed"));
    assert_eq!(code(&bring(&[])), 0);
    assert!(text(&bring(&[])).contains("0 added, 0 changed, 3 unchanged"));
    let place = |args: &[&str]| {
        let all = [&["place", "UPPER", "--at", "2022-10-04T10:00"], args].concat();
        rimeward(Some(&config), &all)
    };
    // What was entered today was not known then.
    assert!(text(&place(&[])).contains("No readings"), "{}", text(&place(&[])));
    let known = json(&place(&["--known-at", LATE, "--json"]));
    assert_eq!((&known["nights_read"], &known["used"]), (&3.into(), &true.into()), "{known}");
    let nights = |sort: &str| known["learned"][sort]["nights"].as_u64().unwrap();
    assert_eq!(nights("clear") + nights("other"), 3, "{known}");
    assert!(text(&place(&["--known-at", LATE])).contains("Learned from 3 nights"));
    let unknown = rimeward(Some(&config), &["place", "UPPERR"]);
    assert_eq!(code(&unknown), 2);
    assert!(text(&unknown).contains("UPPER"), "{}", text(&unknown));

    // The same nights as if they had been entered at the time.
    let before = low(&config);
    let store =
        Store::open(&folder.path().join("demo/rimeward.sqlite"), Options::default()).unwrap();
    let read = |day| ReadNight {
        site: SiteId::from("UPPER"),
        morning: NaiveDate::from_ymd_opt(2022, 10, day).unwrap(),
        low_c: -7.0,
        high_c: None,
    };
    let entered = "2022-10-04T10:00:00Z".parse().unwrap();
    assert_eq!(store.put_nights(&[read(2), read(3), read(4)], entered).unwrap(), 3);
    drop(store);
    let after = low(&config);
    assert!(after < before - 0.3, "{after} {before}");
    let toml = std::fs::read_to_string(&config).unwrap();
    for line in ["learn = false", "learn_until = \"2022-10-01\""] {
        let frozen = toml.replace("[forecast]", &format!("[forecast]\n{line}"));
        std::fs::write(&config, frozen).unwrap();
        assert!((low(&config) - before).abs() < 1e-9, "{line}");
    }
}

#[test]
fn a_loggers_rows_become_nights_and_bad_rows_are_named() {
    let folder = TempDir::new("logger");
    let config = demo(&folder);
    let table = folder.path().join("rows.csv");
    let bring = |rows: &str| {
        std::fs::write(&table, rows).unwrap();
        rimeward(Some(&config), &["import", "readings", table.to_str().unwrap(), "--json"])
    };
    let mut rows = "site_id,time,temperature_c\n".to_owned();
    for hour in 18..24 {
        rows += &format!("QUAY,2022-10-02T{hour}:00:00-04:00,{}\n", 10 - (hour - 18));
    }
    for hour in 0..9 {
        rows += &format!("QUAY,2022-10-03T0{hour}:00:00-04:00,{}\n", 4 - hour);
    }
    rows += "QUAY,2022-10-03T19:00:00-04:00,3\n";
    let read = bring(&rows);
    assert_eq!(code(&read), 0, "{}", text(&read));
    let document: Value = json(&read);
    assert_eq!(document["changed"], 1, "one whole night: {document}");
    assert!(document["notes"][0].as_str().unwrap().contains("1 nights"), "{document}");

    let bad = bring(
        "site_id,morning,low_c\nQUAY,2022-10-03,\nNOWHERE,2022-10-03,1\nQUAY,2035-01-01,1\nQUAY,2022-10-02,-99\nQUAY,2022-10-01,4\n",
    );
    assert_eq!(code(&bad), 2);
    let words = text(&bad);
    for part in ["line 2", "low_c", "line 3", "line 4", "future", "line 5", "-60"] {
        assert!(words.contains(part), "{part}: {words}");
    }
}

/// A notice in force stands on the worklist beside the place, with a word where our own forecast shows nothing of it; an old
/// reading of the notices, and one that was read later, do not.
#[test]
fn an_official_notice_stands_beside_the_forecast() {
    let folder = TempDir::new("notice");
    let config = demo(&folder);
    let store =
        Store::open(&folder.path().join("demo/rimeward.sqlite"), Options::default()).unwrap();
    let worklist = || {
        let args = ["worklist", "--at", "2022-10-04T06:30", "--json"];
        let found = json(&rimeward(Some(&config), &args));
        let sites = found["sites"].as_array().unwrap();
        sites.iter().find(|site| site["site"] == "QUAY").unwrap()["official"].clone()
    };
    let keep = |read_at: &str, ends: &str| {
        let state = serde_json::json!({
            "notices": [{ "event": "Freeze Warning", "office": "an office", "onset": "2022-10-04T16:00:00Z", "ends": ends }],
            "read_at": read_at,
        });
        let quay = SiteId::from("QUAY");
        store.put_fetch_state("nws-notices", &quay, &state, read_at.parse().ok()).unwrap();
    };
    keep("2022-10-04T10:00:00Z", "2022-10-04T20:00:00Z");
    let official = worklist();
    assert_eq!(official[0]["event"], "Freeze Warning");
    assert_eq!(official[0]["not_in_our_forecast"], true, "an October noon: {official}");
    let said = text(&rimeward(Some(&config), &["worklist", "--at", "2022-10-04T06:30"]));
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("OFFICIAL NOTICE of an office: \"Freeze Warning\""), "{said}");
    assert!(said.contains("WHICH OUR FORECAST DOES NOT SHOW"), "{said}");
    for (read_at, ends) in [
        ("2022-10-04T05:00:00Z", "2022-10-04T20:00:00Z"),
        ("2022-10-04T11:00:00Z", "2022-10-04T20:00:00Z"),
        ("2022-10-04T10:00:00Z", "2022-10-04T10:10:00Z"),
    ] {
        keep(read_at, ends);
        assert_eq!(worklist(), serde_json::json!([]), "{read_at} {ends}");
    }
}

#[test]
fn a_reading_is_recorded_by_hand_by_the_rules_of_the_tables() {
    let folder = TempDir::new("place-hand");
    let config = demo(&folder);
    let record = |args: &[&str]| {
        let all = [&["record", "UPPER", "reading"], args].concat();
        rimeward(Some(&config), &all)
    };
    let dry = record(&["low=20F", "high=55F", "--happened", "2022-10-03", "--dry-run"]);
    assert_eq!(code(&dry), 0, "{}", text(&dry));
    assert!(text(&dry).contains("Nothing was kept"), "{}", text(&dry));
    // A slip of the pen is kept as it was typed, and believed by nobody until another night bears it out.
    let slip = record(&["low=-20F", "high=55F", "--happened", "2022-10-03"]);
    assert!(text(&slip).contains("not believed: 2022-10-03"), "{}", text(&slip));
    let before = low(&config);
    let kept = record(&["low=44F", "high=55F", "--happened", "2022-10-03T07:15"]);
    assert!(text(&kept).contains("Kept.") && text(&kept).contains("44 F (7 C)"), "{}", text(&kept));
    assert!(text(&kept).contains("Learned from 1 night"), "{}", text(&kept));
    assert!((low(&config) - before).abs() < 3.0, "one ordinary night moves little");
    let again = record(&["low_f=44", "high_f=55", "--happened", "2022-10-03"]);
    assert!(text(&again).contains("stands there already"), "{}", text(&again));
    let known = json(&rimeward(Some(&config), &["place", "UPPER", "--json"]));
    assert_eq!(known["nights_read"], 1, "{known}");
    for (args, expect) in [
        (&["low=20"][..], "in C or in F"),
        (&["low=900F"], "low_f"),
        (&["high=20F"], "lowest"),
        (&["low=20F", "high=10F"], "below the low"),
        (&["low=20F", "--happened", "2090-01-01"], "future"),
        (&["low=20F", "wind=3"], "not known here"),
        (&["low=20F", "--by", "P52"], "no --by"),
    ] {
        let refused = record(args);
        assert_eq!(code(&refused), 2, "{args:?}: {}", text(&refused));
        assert!(text(&refused).contains(expect), "{args:?}: {}", text(&refused));
    }
    let known = json(&rimeward(Some(&config), &["place", "UPPER", "--json"]));
    assert_eq!(known["nights_read"], 1, "{known}");
}
