//! An owner's own tolerance in the crew plan.

use serde_json::Value;

use super::command::{AT, config, plan_json, run};
use crate::support::TempDir;

/// An owner who asks to be told at 1 in 50 is not planned for at 1 in 20.
#[test]
fn a_careful_owner_has_an_earlier_day() {
    let folder = TempDir::new("careful");
    let own = folder.path().join("rimeward.toml");
    let kept = std::path::Path::new(config()).parent().unwrap();
    for entry in std::fs::read_dir(kept).unwrap().flatten() {
        if entry.path().is_file() {
            std::fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
        }
    }
    let people = folder.path().join("people.csv");
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo/people.csv");
    let mut table = csv::Reader::from_path(demo).unwrap();
    let head = table.headers().unwrap().clone();
    let at = |name: &str| head.iter().position(|column| column == name).unwrap();
    let mut written = csv::Writer::from_path(&people).unwrap();
    written.write_record(&head).unwrap();
    for row in table.records() {
        let row = row.unwrap();
        let wish = |column: usize, value: &str| match column == at("tell_at_chance") {
            true if row.get(at("role")) == Some("owner") => "0.02".to_owned(),
            _ => value.to_owned(),
        };
        written.write_record(row.iter().enumerate().map(|(c, v)| wish(c, v))).unwrap();
    }
    written.flush().unwrap();
    let config = own.to_str().unwrap();
    let imported = run(&["--config", config, "import", "people", people.to_str().unwrap()]);
    assert_eq!(imported.code, 0, "{}", imported.err);
    let careful = run(&["--config", config, "--json", "plan", "--at", AT]);
    assert_eq!(careful.code, 0, "{}", careful.err);
    let careful: Value = serde_json::from_str(&careful.out).unwrap();
    let usual = plan_json(&[]);
    let days = |document: &Value| {
        let rows = document["rows"].as_array().unwrap().clone();
        let day = |row: &Value| {
            let day = row["last_day"].as_str().unwrap_or("9999").to_owned();
            (row["boat"].as_str().unwrap().to_owned(), day)
        };
        rows.iter().map(day).collect::<std::collections::BTreeMap<String, String>>()
    };
    let (careful_days, usual_days) = (days(&careful), days(&usual));
    assert!(careful_days.iter().all(|(boat, day)| day <= &usual_days[boat]), "{careful_days:?}");
    assert!(careful_days != usual_days, "{careful_days:?}");
    assert!(careful["rows"].as_array().unwrap().iter().any(|row| row["owner_tolerates"] == 0.02));
    assert!(usual["rows"].as_array().unwrap().iter().all(|row| row["owner_tolerates"].is_null()));
}
