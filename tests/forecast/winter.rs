//! The invented winter: named days to the figure, the rest plausible, all of it the same for the same seed.

use chrono::{DateTime, NaiveDate, Timelike, Utc};
use chrono_tz::America::New_York;
use rimeward::sim::demo::winter::{DEMO_SEED, Winter};

const SEED: u64 = DEMO_SEED;

pub fn cell(winter: &Winter, site: &str) -> usize {
    winter.cells().iter().position(|c| c.site == site).unwrap()
}

/// Hour of the local day and temperature in F.
fn day_f(winter: &Winter, site: &str, date: &str) -> Vec<(u32, f64)> {
    let date: NaiveDate = date.parse().unwrap();
    let local = |t: DateTime<Utc>| t.with_timezone(&New_York);
    winter
        .hours(cell(winter, site))
        .iter()
        .filter(|s| local(s.time).date_naive() == date)
        .map(|s| (local(s.time).hour(), s.temperature_c.unwrap() * 1.8 + 32.0))
        .collect()
}

fn low_high(winter: &Winter, site: &str, date: &str) -> (f64, f64) {
    let values = day_f(winter, site, date);
    let fold = |f: fn(f64, f64) -> f64, s| values.iter().map(|(_, v)| *v).fold(s, f);
    (fold(f64::min, f64::INFINITY), fold(f64::max, f64::NEG_INFINITY))
}

#[test]
fn named_days_stand_as_given() {
    let winter = Winter::reconstruct(SEED).unwrap();
    let table = include_str!("../../config/demo/winter_named_days.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
    let mut days = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let number = |at: usize| row[at].parse::<f64>().unwrap();
        for (site, low, high) in [("QUAY", 1, 2), ("UPPER", 3, 4), ("DRIVE-B", 5, 6)]
            .map(|(s, l, h)| (s, number(l), number(h)))
        {
            let (is_low, is_high) = low_high(&winter, site, &row[0]);
            assert!((is_low - low).abs() < 1e-9, "{site} {}: low {is_low}", &row[0]);
            assert!((is_high - high).abs() < 1e-9, "{site} {}: high {is_high}", &row[0]);
        }
        days += 1;
    }
    assert_eq!(days, 40, "every named day");
}

#[test]
fn the_worst_night_is_as_cold_as_the_blends_are_judged_by() {
    let winter = Winter::reconstruct(SEED).unwrap();
    for (site, celsius) in [("QUAY", -24.4), ("BARN", -26.1), ("UPPER", -28.9), ("DRIVE-B", -28.3)]
    {
        let hours = winter.hours(cell(&winter, site));
        let low = hours.iter().filter_map(|s| s.temperature_c).fold(f64::INFINITY, f64::min);
        assert!((low - celsius).abs() < 0.06, "{site}: {low}");
    }
    let night = day_f(&winter, "UPPER", "2023-02-04");
    let coldest = night.iter().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
    assert_eq!(coldest.0, 6);
}

#[test]
fn the_special_hours_are_kept() {
    let winter = Winter::reconstruct(SEED).unwrap();
    let late = day_f(&winter, "UPPER", "2023-05-23");
    let below: Vec<u32> = late.iter().filter(|(_, f)| *f < 28.0).map(|(h, _)| *h).collect();
    assert_eq!(below, [3, 4, 5], "02:30 to 05:30 below 28 F");
    let storm = day_f(&winter, "QUAY", "2022-12-23");
    assert!(storm[12].1 > 49.9 && storm[15].1 > 48.0 && storm[18].1 < 42.0, "{storm:?}");
    assert!((storm[23].1 - 20.0).abs() < 1e-9);
    let outbreak = day_f(&winter, "QUAY", "2023-02-03");
    assert!((outbreak[7].1 - 14.0).abs() < 1e-9 && (outbreak[23].1 + 6.0).abs() < 1e-9);
    assert!(outbreak[7..].windows(2).all(|w| w[1].1 <= w[0].1), "falling all day");
    let thaw = day_f(&winter, "DRIVE-B", "2023-02-05");
    assert!((thaw[1].1 + 5.0).abs() < 1e-9 && (thaw[23].1 - 35.0).abs() < 1e-9);
    let may = day_f(&winter, "QUAY", "2023-05-18");
    assert!((may[5].1 - 33.0).abs() < 1e-9);
}

#[test]
fn hours_join_smoothly_and_are_whole() {
    let winter = Winter::reconstruct(SEED).unwrap();
    for (at, winter_cell) in winter.cells().iter().enumerate() {
        let hours = winter.hours(at);
        assert_eq!(hours.len(), 263 * 24, "{}: one clock change each way", winter_cell.site);
        for pair in hours.windows(2) {
            assert_eq!((pair[1].time - pair[0].time).num_seconds(), 3600);
            let change = pair[1].temperature_c.unwrap() - pair[0].temperature_c.unwrap();
            assert!(change.abs() < 6.5, "{} {}: {change}", winter_cell.site, pair[0].time);
        }
        for step in hours {
            assert!(step.dewpoint_c.unwrap() < step.temperature_c.unwrap());
            assert!((0.0..=1.0).contains(&step.cloud.unwrap()));
            assert!((0.4..=17.0).contains(&step.wind_ms.unwrap()));
        }
    }
}

#[test]
fn one_seed_is_one_winter_and_another_is_another() {
    let [a, b, c] = [1, 1, 2].map(|seed| Winter::reconstruct(seed).unwrap());
    assert_eq!(a.hours(0), b.hours(0));
    assert_ne!(a.hours(0), c.hours(0));
}

#[test]
fn months_are_near_their_normals() {
    // Over many seeds the mean January low at the shore lies near 10.6 + 6 F (NOAA normal, and a mild month), and the
    // named days do not change that much.
    let mean: f64 = (0..20)
        .map(|seed| {
            let winter = Winter::reconstruct(seed).unwrap();
            (17..=31).map(|d| low_high(&winter, "QUAY", &format!("2023-01-{d}")).0).sum::<f64>()
                / 15.0
        })
        .sum::<f64>()
        / 20.0;
    assert!((mean - 16.0).abs() < 3.0, "{mean}");
}
