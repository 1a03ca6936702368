//! The invented forecasts: documents that the door reads without a murmur, wrong by a plausible amount.

use std::sync::{Arc, OnceLock};

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use rimeward::adapters::weather::nws::{parse_gridpoint, parse_points};
use rimeward::adapters::weather::{Context, Place};
use rimeward::sim::demo::document;
use rimeward::sim::demo::issues::{Issue, Issues};
use rimeward::sim::demo::winter::{DEMO_SEED, Winter};

use super::winter::cell;

fn issues(seed: u64) -> Issues {
    Issues::new(Winter::reconstruct(seed).unwrap(), seed)
}

/// The winter of the demonstration, made once for all tests.
pub fn first_winter() -> Arc<Issues> {
    static FIRST: OnceLock<Arc<Issues>> = OnceLock::new();
    FIRST.get_or_init(|| Arc::new(issues(DEMO_SEED))).clone()
}

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// The newest issue `lead_h` hours before `time`.
fn issue_before(issues: &Issues, cell: usize, time: DateTime<Utc>, lead_h: i64) -> Issue {
    let issued_at = issues.newest(cell, time - TimeDelta::hours(lead_h)).unwrap();
    issues.issue(cell, issued_at).unwrap()
}

/// Observed minus forecast in K for an hour of an issue.
fn error_of(issues: &Issues, issue: &Issue, cell: usize, time: DateTime<Utc>) -> f64 {
    let hour = issue.hours.iter().find(|h| h.hour == time.timestamp() / 3600).unwrap();
    let truth = issues.winter().truth(cell, time).unwrap().temperature_c.unwrap();
    truth - (f64::from(hour.temperature_f) - 32.0) / 1.8
}

fn mean(values: &[f64]) -> f64 {
    let count: f64 = values.iter().map(|_| 1.0).sum();
    values.iter().sum::<f64>() / count
}

fn sd(values: &[f64]) -> f64 {
    let middle = mean(values);
    mean(&values.iter().map(|v| (v - middle).powi(2)).collect::<Vec<_>>()).sqrt()
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let (ma, mb) = (mean(a), mean(b));
    let products: Vec<f64> = a.iter().zip(b).map(|(x, y)| (x - ma) * (y - mb)).collect();
    mean(&products) / sd(a) / sd(b)
}

/// Nights (11 UTC) of the filled part of the winter.
fn nights() -> impl Iterator<Item = DateTime<Utc>> {
    (0..200).map(|d| at("2022-10-14T11:00:00Z") + TimeDelta::days(d)).filter(|t| {
        let special = at("2022-11-12T00:00:00Z")..at("2022-11-15T12:00:00Z");
        let outbreak = at("2023-02-01T00:00:00Z")..at("2023-02-08T00:00:00Z");
        !special.contains(t) && !outbreak.contains(t)
    })
}

#[test]
fn every_document_is_read_without_a_warning() {
    let issues = first_winter();
    let mut documents = 0;
    for (index, cell) in issues.winter().cells().iter().enumerate() {
        let place = Place::new(cell.latitude, cell.longitude).unwrap();
        let times = issues.round_instants(index);
        for issued_at in times.iter().copied().step_by(7) {
            let issue = issues.issue(index, issued_at).unwrap();
            let body = document::gridpoint(cell, &issue, "https://example.org");
            let context = Context { place: Some(place), now: Some(issued_at) };
            let forecast = parse_gridpoint(body.as_bytes(), &context).unwrap();
            assert_eq!((forecast.issued_at, forecast.missing), (issued_at, 0));
            assert_eq!(forecast.warnings, Vec::<String>::new(), "{} {issued_at}", cell.site);
            assert_eq!(forecast.steps.len(), issue.hours.len());
            assert!(forecast.steps.len() == 170 && (7..=8).contains(&forecast.minima.len()));
            for (step, hour) in forecast.steps.iter().zip(&issue.hours) {
                assert_eq!(step.time.timestamp(), hour.hour * 3600);
                let f = step.temperature_c.unwrap() * 1.8 + 32.0;
                assert!((f - f64::from(hour.temperature_f)).abs() < 1e-6, "whole degrees F");
                assert!(step.dewpoint_c <= step.temperature_c);
            }
            for minimum in &forecast.minima {
                let inside = forecast
                    .steps
                    .iter()
                    .filter(|s| s.time >= minimum.start && s.time < minimum.end);
                let low = inside.filter_map(|s| s.temperature_c).fold(f64::INFINITY, f64::min);
                assert!((-1e-9..=1.2).contains(&(low - minimum.temperature_c)));
                assert_eq!(minimum.end.hour(), 14, "9 am local standard time");
            }
            documents += 1;
        }
        let body = document::points(cell, place, "https://example.org");
        let found = parse_points(body.as_bytes(), &Context { place: Some(place), now: None });
        assert_eq!(found.unwrap().x, cell.x);
    }
    assert!(documents > 700, "{documents}");
}

#[test]
fn issues_come_every_three_to_six_hours_but_for_one_gap() {
    let issues = first_winter();
    for index in 0..issues.winter().cells().len() {
        let times = issues.round_instants(index);
        assert!(times[0] < at("2022-10-01T00:00:00Z"));
        let apart: Vec<i64> = times.windows(2).map(|w| (w[1] - w[0]).num_minutes()).collect();
        let gaps = apart.iter().filter(|m| **m > 10 * 60).count();
        assert_eq!(gaps, 1);
        assert_eq!(apart.iter().max(), Some(&(26 * 60)));
        assert!(*apart.iter().min().unwrap() >= 180);
        let gap = times.windows(2).find(|w| (w[1] - w[0]).num_hours() == 26).unwrap();
        assert_eq!(gap[0], at("2023-01-12T12:00:00Z"));
    }
    let first = issues.next_issue_after(at("2022-10-01T00:00:00Z")).unwrap();
    assert!(first - at("2022-10-01T00:00:00Z") <= TimeDelta::hours(6));
}

/// The newest issue is two hours older on average: leads of 12, 24, 48, 120 hours.
const LEADS: [i64; 4] = [10, 22, 46, 118];

#[test]
fn errors_have_the_size_and_persistence_of_the_default_model() {
    let mut by_lead: [Vec<f64>; 4] = Default::default();
    let mut next_night: [Vec<f64>; 2] = Default::default();
    let mut within: [Vec<f64>; 5] = Default::default();
    for issues in [first_winter(), Arc::new(issues(2)), Arc::new(issues(3))] {
        for site in ["QUAY", "DRIVE-B"] {
            let index = cell(issues.winter(), site);
            let before = by_lead[0].len();
            for night in nights() {
                for (values, lead) in by_lead.iter_mut().zip(LEADS) {
                    let issue = issue_before(&issues, index, night, lead);
                    values.push(error_of(&issues, &issue, index, night));
                    if lead == LEADS[2] {
                        for (values, hours) in within.iter_mut().zip([0, 3, 6, 12, 24]) {
                            let earlier = night - TimeDelta::hours(hours);
                            values.push(error_of(&issues, &issue, index, earlier));
                        }
                    }
                }
            }
            for pair in by_lead[0][before..].windows(2) {
                next_night[0].push(pair[0]);
                next_night[1].push(pair[1]);
            }
        }
    }
    let sigma: Vec<f64> = by_lead.iter().map(|v| sd(v)).collect();
    let size = by_lead[0].len();
    println!("{size} nights: sd {sigma:?}, bias {:.2}", mean(&by_lead[0]));
    // 1.74, 1.83, 2.01, 2.55 K and a little for the cold part of the winter, rounding and the sample.
    for (is, expect) in sigma.iter().zip([1.85, 1.95, 2.15, 2.7]) {
        assert!((is - expect).abs() < 0.3, "{is} for {expect}");
    }
    assert!((mean(&by_lead[0]) - 0.15).abs() < 0.2);
    let near = correlation(&by_lead[0], &by_lead[1]);
    let far = correlation(&by_lead[0], &by_lead[2]);
    let nights = correlation(&next_night[0], &next_night[1]);
    println!("leads of one night: 12/24 h {near:.3}, 12/48 h {far:.3}; night to night {nights:.2}");
    assert!((0.89..0.96).contains(&near) && (0.78..0.90).contains(&far), "0.93 and 0.83 measured");
    assert!((0.02..0.35).contains(&nights), "0.14 measured");
    let rho: Vec<f64> = within[1..].iter().map(|v| correlation(&within[0], v)).collect();
    println!("within one issue, 3 6 12 24 h apart: {rho:.2?}");
    for (is, measured) in rho.iter().zip([0.73, 0.51, 0.30, 0.26]) {
        assert!((is - measured).abs() < 0.15, "{is} for {measured}");
    }
    let squares = mean(&by_lead[0].iter().map(|v| v.powi(4)).collect::<Vec<_>>());
    let kurtosis = squares / sigma[0].powi(4);
    println!("kurtosis {kurtosis:.1}");
    assert!(kurtosis > 3.3, "tails fatter than normal");
}

#[test]
fn successive_issues_change_slowly() {
    let issues = first_winter();
    let times = issues.round_instants(0);
    let mut changes = Vec::new();
    for pair in times.windows(2).skip(60).take(300) {
        let night = pair[1] + TimeDelta::hours(30);
        let hour = night.timestamp() / 3600;
        let forecast = |t: DateTime<Utc>| {
            let issue = issues.issue(0, t).unwrap();
            issue.hours.iter().find(|h| h.hour == hour).map(|h| f64::from(h.temperature_f) / 1.8)
        };
        if let (Some(a), Some(b)) = (forecast(pair[0]), forecast(pair[1])) {
            changes.push(b - a);
        }
    }
    let spread = sd(&changes);
    println!("{} changes from issue to issue, sd {spread:.2} K", changes.len());
    assert!(spread < 0.9, "an error redrawn at each issue would give 2.7 K: {spread}");
}

#[test]
fn the_outbreak_was_forecast_and_the_november_cold_was_not() {
    let mut outbreak = Vec::new();
    for issues in [first_winter(), Arc::new(issues(2)), Arc::new(issues(3))] {
        for index in [0, 1, 3] {
            let issue = issue_before(&issues, index, at("2023-02-04T11:00:00Z"), 72);
            outbreak.extend((0..24).map(|hour| {
                let time = at("2023-02-04T00:00:00Z") + TimeDelta::hours(hour);
                error_of(&issues, &issue, index, time)
            }));
            let issue = issue_before(&issues, index, at("2022-11-13T12:00:00Z"), 50);
            let warm: Vec<f64> = (0..24)
                .map(|h| at("2022-11-13T06:00:00Z") + TimeDelta::hours(h))
                .map(|t| -error_of(&issues, &issue, index, t))
                .collect();
            assert!((1.5..4.5).contains(&mean(&warm)), "{:.1} K too warm", mean(&warm));
        }
    }
    let spread = sd(&outbreak);
    println!("outbreak at 72 h: sd {spread:.2} K");
    // Half of 2.19 K, times 1.5 for the cold.
    assert!((1.0..2.4).contains(&spread), "{spread}");
}

#[test]
fn one_seed_gives_the_same_bytes() {
    let body = || {
        let issues = issues(9);
        let time = issues.newest(1, at("2022-12-23T12:00:00Z")).unwrap();
        let cell = issues.winter().cells()[1].clone();
        document::gridpoint(&cell, &issues.issue(1, time).unwrap(), "http://127.0.0.1:1")
    };
    assert_eq!(body(), body());
    assert!(body().len() < 40_000, "{}", body().len());
}
