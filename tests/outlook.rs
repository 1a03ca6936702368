//! Past winters against published and computed freeze dates, where the machine has them.

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono::Datelike as _;
use rimeward::adapters::intake::archive::{ArchiveError, days};
use rimeward::domain::season::Hemisphere;
use rimeward::domain::weather::seasons::{End, Froze, day_at, winters};

/// The folder of data; `None` when the variable is unset. A folder that is named but missing fails.
#[expect(clippy::disallowed_methods, reason = "the tests' own switch is an environment variable")]
fn data() -> Option<PathBuf> {
    let Ok(root) = std::env::var("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no freeze date was checked");
        return None;
    };
    let folder = PathBuf::from(root).join("data");
    assert!(folder.is_dir(), "RIMEWARD_REAL_DATA is set, but {} is missing", folder.display());
    Some(folder)
}

/// Days between two month-days, both as counted from July.
fn apart(day: Option<u32>, expect: &str) -> i64 {
    let found = day.and_then(|day| Hemisphere::Northern.calendar(day)).unwrap();
    let (month, rest) = expect.split_once('-').unwrap();
    let month: u32 = month.parse().unwrap();
    let year = if month >= 7 { 2022 } else { 2023 };
    let expect = chrono::NaiveDate::from_ymd_opt(year, month, rest.parse().unwrap()).unwrap();
    (found - expect).num_days().abs()
}

#[test]
fn freeze_dates_agree_with_those_computed_independently() {
    let Some(folder) = data() else { return };
    let body = std::fs::read(folder.join("obs_daily.csv.gz")).unwrap();
    let table = std::fs::read_to_string(folder.join("freeze_dates_computed.csv")).unwrap();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let mut checked = 0;
    for row in reader.deserialize::<BTreeMap<String, String>>().map(Result::unwrap) {
        let is_last_30 = row["n_seasons"] == "30";
        if !is_last_30 || !["0.0", "-2.2"].contains(&row["threshold_c"].as_str()) {
            continue;
        }
        let found = days(&body, Some(&row["station"]));
        if found == Err(ArchiveError::Empty) {
            // Some stations of the file have lows only; the part model needs highs too.
            continue;
        }
        let all = winters(&found.unwrap());
        let (from, to) = row["seasons"].split_once('-').unwrap();
        let year = |text: &str| text[..4].parse::<i32>().unwrap();
        let threshold: f64 = row["threshold_c"].parse().unwrap();
        // The table's threshold is a whole degree F, the archive's tenths of a degree C: -2.2 C is 28 F.
        let found: Vec<Froze> = all
            .iter()
            .filter(|w| (year(from)..=year(to)).contains(&w.start.year()))
            .map(|w| (w.start, w.air_below(threshold)))
            .collect();
        for (end, name) in [(End::First, "first"), (End::Last, "last")] {
            for (share, column) in [(0.1, "p10"), (0.5, "p50"), (0.9, "p90")] {
                let expect = &row[&format!("{name}_{column}")];
                if expect.is_empty() {
                    continue;
                }
                let off = apart(day_at(&found, end, share), expect);
                assert!(off <= 3, "{} {threshold} {name} {column}: {off} days off", row["station"]);
                checked += 1;
            }
        }
    }
    println!("{checked} freeze dates checked");
    assert!(checked >= 24, "{checked}");
}
