//! The last day at a tolerance against real first-freeze days: past seasons stand as members, each season is left out in
//! turn, and on the day found from the others it may be late with about the chance that was tolerated.

use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use chrono::{Datelike as _, NaiveDate};
use rimeward::adapters::intake::archive::days as archive_days;
use rimeward::domain::physics::Liquid;
use rimeward::domain::physics::part::thermal_class;
use rimeward::domain::risk::plan::due::last_day_at;
use rimeward::domain::season::Hemisphere;
use rimeward::domain::weather::seasons::{End, PastWinter, day_at, water_in, winters};

/// Tolerated chance.
const TOLERANCE: f64 = 0.10;
/// Days from 1 July that are looked at.
const DAYS: usize = 330;

/// First day from 1 July on with a minimum at or under `limit_c`, for each whole season of each station.
fn first_days(text: &str, limit_c: f64) -> BTreeMap<String, Vec<usize>> {
    let mut seasons: BTreeMap<(String, i32), (usize, Option<usize>)> = BTreeMap::new();
    for line in text.lines().skip(1) {
        let words: Vec<&str> = line.split(',').collect();
        let date: NaiveDate = words[1].parse().unwrap();
        let Ok(low_c) = words[2].parse::<f64>() else { continue };
        let year = if date.month() >= 7 { date.year() } else { date.year() - 1 };
        let start = NaiveDate::from_ymd_opt(year, 7, 1).unwrap();
        let day = usize::try_from((date - start).num_days()).unwrap();
        let season = seasons.entry((words[0].to_owned(), year)).or_default();
        if day < 240 {
            season.0 += 1;
        }
        if low_c <= limit_c {
            season.1 = Some(season.1.map_or(day, |first| first.min(day)));
        }
    }
    let mut found: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for ((station, _), (days, first)) in seasons {
        // Nine of ten days from July to February are there.
        if days >= 216 {
            found.entry(station).or_default().push(first.unwrap_or(DAYS));
        }
    }
    found
}

fn unpacked(path: &PathBuf) -> String {
    let packed = std::fs::File::open(path).unwrap();
    let mut child =
        Command::new("gzip").arg("-dc").stdin(packed).stdout(Stdio::piped()).spawn().unwrap();
    let mut text = String::new();
    child.stdout.take().unwrap().read_to_string(&mut text).unwrap();
    assert!(child.wait().unwrap().success());
    text
}

#[test]
fn the_last_day_at_ten_percent_is_exceeded_in_ten_percent_of_seasons_left_out() {
    let Some(folder) = std::env::var_os("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no daily records to leave seasons out of");
        return;
    };
    let path = PathBuf::from(folder).join("data/obs_daily.csv.gz");
    assert!(path.exists(), "{} is not there", path.display());
    let text = unpacked(&path);
    for limit_f in [32.0, 28.0, 20.0] {
        let (mut late, mut seasons) = (0_usize, 0_usize);
        for firsts in first_days(&text, (limit_f - 32.0) / 1.8).values().filter(|f| f.len() >= 20) {
            for left_out in 0..firsts.len() {
                let others: Vec<usize> = (0..firsts.len())
                    .filter(|season| *season != left_out)
                    .map(|season| firsts[season])
                    .collect();
                let chance: Vec<f64> = (0..=DAYS)
                    .map(|day| {
                        let by = others.iter().filter(|first| **first <= day).count();
                        by as f64 / others.len() as f64
                    })
                    .collect();
                let Some(last) = last_day_at(&chance, TOLERANCE) else { continue };
                seasons += 1;
                late += usize::from(firsts[left_out] <= last);
            }
        }
        let share = late as f64 / seasons as f64;
        let error = (TOLERANCE * (1.0 - TOLERANCE) / seasons as f64).sqrt();
        println!(
            "last day at 10 % for {limit_f} F: exceeded in {:.1} % of {seasons} seasons left out (sampling error {:.1} %)",
            100.0 * share,
            100.0 * error
        );
        assert!((share - TOLERANCE).abs() <= 3.0 * error, "{share} in {seasons} seasons");
    }
}

/// First- and last-freeze days of our own reading of the daily records against the table that was computed from the same
/// records by another program (`data/freeze_dates_computed.csv`: 36 to 16 F, 10, 50 and 90 % of seasons). Rules for ties
/// and incomplete seasons differ between the two by a day or two; a whole season more or less moves a 10 % day further.
#[test]
fn first_and_last_freezes_are_those_of_the_computed_table() {
    let Some(folder) = std::env::var_os("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no daily records to look at");
        return;
    };
    let folder = PathBuf::from(folder).join("data");
    let records = std::fs::read(folder.join("obs_daily.csv.gz")).unwrap();
    let table = std::fs::read_to_string(folder.join("freeze_dates_computed.csv")).unwrap();
    let day_of = |text: &str| {
        let date: NaiveDate = format!("2022-{text}").parse().ok()?;
        let year = if date.month() >= 7 { 2022 } else { 2023 };
        Some(i64::from(Hemisphere::Northern.day_of(date.with_year(year)?)))
    };
    let (mut within_two, mut days_compared, mut largest) = (0_usize, 0_usize, 0_i64);
    let mut read: BTreeMap<String, Vec<PastWinter>> = BTreeMap::new();
    for line in table.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (station, seasons) = (cells[0], cells[2].parse::<usize>().unwrap());
        // As in the table, to the last digit: a low of -2.2 C is no 28 F there.
        let threshold_c = (cells[3].parse::<f64>().unwrap() - 32.0) / 1.8;
        // Where some winters never come to it, the two count the others differently.
        if cells[5] != "1.0" || seasons < 20 {
            continue;
        }
        let all = read.entry(station.to_owned()).or_insert_with(|| {
            // Not every station of the table is among the records.
            archive_days(&records, Some(station)).map_or_else(|_| Vec::new(), |days| winters(&days))
        });
        if all.len() < seasons {
            continue;
        }
        let some = all.get(all.len().saturating_sub(seasons)..).unwrap();
        let found: Vec<_> = some.iter().map(|w| (w.start, w.air_below(threshold_c))).collect();
        for (cell, end, share) in [
            (6, End::First, 0.1),
            (7, End::First, 0.5),
            (8, End::First, 0.9),
            (9, End::Last, 0.1),
            (10, End::Last, 0.5),
            (11, End::Last, 0.9),
        ] {
            let (Some(theirs), Some(ours)) = (day_of(cells[cell]), day_at(&found, end, share))
            else {
                continue;
            };
            let off = (i64::from(ours) - theirs).abs();
            days_compared += 1;
            within_two += usize::from(off <= 2);
            largest = largest.max(off);
        }
    }
    println!(
        "{within_two} of {days_compared} days within two days; the largest difference is {largest}"
    );
    assert!(days_compared >= 200, "{days_compared} days");
    assert!(within_two as f64 >= 0.95 * days_compared as f64, "{within_two} of {days_compared}");
}

/// The same by the part model that the season's table and the plan rest on: a bare hose and an engine block full of water run
/// through each winter, and each winter is left out in turn.
#[test]
fn the_last_safe_day_of_a_hose_and_a_block_is_exceeded_as_often_as_tolerated() {
    let Some(folder) = std::env::var_os("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no daily records to leave seasons out of");
        return;
    };
    let records = std::fs::read(PathBuf::from(folder).join("data/obs_daily.csv.gz")).unwrap();
    // Those with lows and highs.
    let stations = ["denver_co", "milwaukee_wi", "stockholm_se", "klein_altendorf_de"];
    let all: Vec<Vec<PastWinter>> = stations
        .iter()
        .filter_map(|station| archive_days(&records, Some(station)).ok())
        .map(|days| winters(&days))
        .filter(|winters| winters.len() >= 20)
        .collect();
    for class in ["hose_25mm", "block_open_bay"] {
        let part = water_in(thermal_class(class).unwrap(), &Liquid::FreshWater).unwrap();
        let (mut late, mut seasons) = (0_usize, 0_usize);
        for winters in &all {
            let froze: Vec<_> = winters.iter().map(|w| (w.start, w.part_frozen(&part))).collect();
            for left_out in 0..froze.len() {
                let mut others = froze.clone();
                let (start, own) = others.remove(left_out);
                let Some(last) = day_at(&others, End::First, TOLERANCE) else { continue };
                seasons += 1;
                let first = own.map(|(first, _)| (first - start).num_days());
                late += usize::from(first.is_some_and(|first| first < i64::from(last)));
            }
        }
        let share = late as f64 / seasons as f64;
        let error = (TOLERANCE * (1.0 - TOLERANCE) / seasons as f64).sqrt();
        println!(
            "last safe day of {class} at 10 %: exceeded in {:.1} % of {seasons} winters left out (sampling error {:.1} %)",
            100.0 * share,
            100.0 * error
        );
        assert!(seasons >= 100 && (share - TOLERANCE).abs() <= 3.0 * error, "{share} in {seasons}");
    }
}

/// Our first- and last-freeze days on Lake Michigan's west shore against those published for two stations of that shore
/// (`data/freeze_dates_published.csv`: NOAA station normals as republished, each row with its page). The nearest place of which
/// we have the days is Milwaukee, in the city and a degree to the south: later in autumn, earlier in spring.
#[test]
fn freeze_dates_fit_those_published_for_the_same_shore() {
    let Some(folder) = std::env::var_os("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no daily records to look at");
        return;
    };
    let folder = PathBuf::from(folder).join("data");
    let records = std::fs::read(folder.join("obs_daily.csv.gz")).unwrap();
    let published = std::fs::read_to_string(folder.join("freeze_dates_published.csv")).unwrap();
    let winters = winters(&archive_days(&records, Some("milwaukee_wi")).unwrap());
    let day_of = |text: &str| {
        let date: NaiveDate = format!("2022-{text}").parse().ok()?;
        let year = if date.month() >= 7 { 2022 } else { 2023 };
        Some(i64::from(Hemisphere::Northern.day_of(date.with_year(year)?)))
    };
    let mut compared = 0;
    for line in published.lines().skip(1).filter(|line| line.contains("(Lake Michigan)")) {
        let cells: Vec<&str> = line.split(',').collect();
        let threshold_c = (cells[2].parse::<f64>().unwrap() - 32.0) / 1.8;
        let found: Vec<_> = winters.iter().map(|w| (w.start, w.air_below(threshold_c))).collect();
        let end = if cells[1] == "first" { End::First } else { End::Last };
        let (Some(theirs), Some(ours)) = (day_of(cells[4]), day_at(&found, end, 0.5)) else {
            continue;
        };
        // Later in autumn, earlier in spring: by up to three weeks, and never the other way by more than one.
        let milder =
            if end == End::First { i64::from(ours) - theirs } else { theirs - i64::from(ours) };
        println!("{}: median {} {} F, ours {milder} days milder", cells[0], cells[1], cells[2]);
        assert!((-7..=21).contains(&milder), "{line}: {milder}");
        compared += 1;
    }
    assert!(compared >= 8, "{compared} dates");
}
