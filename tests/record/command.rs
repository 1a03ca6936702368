//! The commands themselves, as a program on a store that the demo's tables were imported into.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

use crate::support::TempDir;

const CONFIG: &str = r#"
[yard]
name = "Trial"
time_zone = "America/New_York"
[store]
path = "store.sqlite"
[forecast]
contact = "desk@example.org"
[mail]
from = "freeze-desk@example.org"
maildir = "mail"
"#;

/// A folder with a configuration, and the program to run on it.
pub struct Bench {
    folder: TempDir,
}

impl Bench {
    pub fn new() -> Self {
        let folder = TempDir::new("record");
        std::fs::write(folder.path().join("rimeward.toml"), CONFIG).unwrap();
        Self { folder }
    }

    /// With the demo's tables in the store.
    pub fn with_demo() -> Self {
        let bench = Self::new();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
        for (table, file) in [
            ("sites", "sites.csv"),
            ("people", "people.csv"),
            ("boats", "boats.csv"),
            ("events", "layup_events.csv"),
        ] {
            let done = bench.run(&["import", table, demo.join(file).to_str().unwrap()]);
            assert!(done.status.success(), "{table}: {}", said(&done));
        }
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        std::fs::write(self.path(name), content).unwrap();
        self.path(name).to_str().unwrap().to_owned()
    }

    pub fn run(&self, words: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_rimeward"))
            .arg("--config")
            .arg(self.path("rimeward.toml"))
            .args(words)
            .output()
            .unwrap()
    }

    pub fn json(&self, words: &[&str]) -> Value {
        let mut words = words.to_vec();
        words.push("--json");
        let done = self.run(&words);
        assert!(done.status.success(), "{words:?}: {}", said(&done));
        serde_json::from_slice(&done.stdout).unwrap()
    }

    /// Text of a command that must end with this code.
    pub fn text(&self, words: &[&str], code: i32) -> String {
        let done = self.run(words);
        assert_eq!(done.status.code(), Some(code), "{words:?}: {}", said(&done));
        said(&done)
    }
}

/// Both streams.
pub fn said(done: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    text(&done.stdout) + &text(&done.stderr)
}

#[test]
fn an_entry_shows_what_it_changes_and_is_appended() {
    let bench = Bench::with_demo();
    let words = [
        "record",
        "Second Biscuit",
        "ran it",
        "how=hose",
        "--happened",
        "2022-11-10T10:00",
        "--by",
        "P01",
    ];
    let dry = bench.text(&[&words[..], &["--dry-run"]].concat(), 0);
    assert!(
        dry.contains("raw-water pump (raw_pump): antifreeze of no known strength [claimed]"),
        "{dry}"
    );
    assert!(
        dry.contains("-> fresh water [claimed]") && dry.contains("Nothing was appended"),
        "{dry}"
    );
    let done = bench.json(&words);
    let id = done["event"]["id"].as_str().unwrap();
    assert!(id.starts_with("B02-20221110T1500Z-"), "{id}");
    assert_eq!((&done["appended"], &done["event"]["who"]), (&Value::Bool(true), &"P01".into()));
    let before = done["changes"][0]["circuits"].as_array().unwrap();
    assert!(
        before.iter().any(|c| c["before"]["holds"] == "blend" && c["after"]["holds"] == "fresh")
    );
    let boat = bench.json(&["boat", "B02", "--at", "2022-11-10T12:00", "--known-at", "2099-01-01"]);
    let circuits = boat["circuits"].as_array().unwrap();
    let pump = circuits.iter().find(|circuit| circuit["circuit"] == "raw_pump").unwrap();
    assert_eq!(pump["undone_by"], id, "{pump}");
    let again = bench.text(&words, 0);
    assert!(
        again.contains("in the log already") && again.contains("nothing was appended"),
        "{again}"
    );
}

#[test]
fn what_cannot_be_meant_is_refused_with_the_nearest_right_name() {
    let bench = Bench::with_demo();
    let refused = |words: &[&str], hint: &str| {
        let told = bench.text(&[&["record"], words].concat(), 2);
        assert!(told.contains(hint), "{words:?}: {told}");
    };
    refused(
        &["B02", "flushed"],
        "with fresh water (flushed_fresh) or with antifreeze (blend_flush)?",
    );
    refused(&["B99", "drained"], "did you mean B09?");
    refused(&["second biscut", "drained"], "did you mean B02?");
    refused(&["B02", "draned"], "did you mean drained?");
    refused(&["B02", "drained", "circuits=blok_raw"], "the nearest is block_raw");
    refused(&["B02", "drained", "litre_out=3"], "the nearest is litres_out");
    refused(&["B02", "drained", "out=some"], "must be a number");
    refused(&["B02", "engine_run", "--happened", "2099-01-01"], "lies in the future");
    refused(&["B02", "engine_run", "--happened", "1950-01-01"], "before the boat existed");
    refused(&["B02", "engine_run", "--happened", "noonish"], "is not a time");
    refused(&["B02", "engine_run", "--by", "P99"], "did you mean");
    refused(&["B02", "correction", "corrects=E18x"], "no event has this name");
    refused(&["B02", "correction", "corrects=E003", "method=void"], "names the same boat");
    assert_eq!(bench.json(&["boat", "B02"])["boat"], "B02");
}

#[test]
fn what_is_doubtful_is_taken_and_said_to_count_for_less() {
    let bench = Bench::with_demo();
    let told = bench.text(&["record", "B03", "drained", "part=block", "out=900"], 0);
    assert!(told.contains("900.0 L cannot have come out of about"), "{told}");
    assert!(told.contains("[claimed]") && told.contains("Appended as B03-"), "{told}");
    let reading = [
        "record",
        "B03",
        "outlet_measured",
        "reading=-40F",
        "at=muffler",
        "--evidence",
        "measured",
    ];
    let told = bench.text(&reading, 0);
    assert!(told.contains("no scale stated: no measurement"), "{told}");
    let place = bench.text(&["record", "QUAY", "power_lost", "--dry-run"], 0);
    assert!(place.contains("B05") && place.contains("charger: off"), "{place}");
}

#[test]
fn a_correction_shows_what_it_changes_where_the_corrected_entry_stands() {
    let bench = Bench::with_demo();
    let told = bench.text(&["record", "B12", "correction", "corrects=E066", "method=void"], 0);
    assert!(told.contains("As it stood just after it"), "{told}");
    assert!(told.contains("-> antifreeze and water"), "{told}");
    assert!(!told.contains("note: graded"), "a correction leaves the grade as it was: {told}");
}

#[test]
fn words_of_the_yard_and_its_dates_are_understood_and_slips_are_not() {
    let bench = Bench::with_demo();
    let dry = |words: &[&str], code: i32| {
        bench.text(&[&["record"], words, &["--dry-run"]].concat(), code)
    };
    let told = dry(&["B02", "winterized", "--happened", "20 Oct 2022 9:30"], 0);
    assert!(told.contains("20 Oct 2022 09:30") && told.contains("no fixed meaning"), "{told}");
    for at in ["10/26/2022", "10/26/2022 2:30 pm"] {
        let told = dry(&["B02", "on the hose", "--happened", at], 0);
        assert!(told.contains("engine run (engine_run), 26 Oct 2022"), "{told}");
    }
    let told = dry(&["B02", "drained"], 2);
    assert!(told.contains("of which parts") && told.contains("block_raw"), "{told}");
    let told = dry(&["B02", "drained", "circuits=blok"], 2);
    assert!(told.contains("nearest is block"), "{told}");
    let told = dry(&["QUAY", "drained", "circuits=block_raw"], 2);
    assert!(told.contains("happens to a boat"), "{told}");
    let told = dry(&["B11", "drained", "circuits=coolers_raw", "which=aft"], 2);
    assert!(told.contains("port engine, starboard engine"), "{told}");
}
