//! Recorded answers of the real service, where the machine has them: `RIMEWARD_REAL_DATA` names the folder.

use std::path::PathBuf;

use rimeward::adapters::weather::Context;
use rimeward::adapters::weather::nws::{
    parse_gridpoint, parse_hourly, parse_observation, parse_points,
};

/// The folder of recorded payloads; `None` when the variable is unset. A folder that is named but missing fails.
#[expect(clippy::disallowed_methods, reason = "the tests' own switch is an environment variable")]
fn recorded() -> Option<PathBuf> {
    let Ok(root) = std::env::var("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no recorded payload was read");
        return None;
    };
    let folder = PathBuf::from(root).join("forecast/payloads/nws");
    assert!(folder.is_dir(), "RIMEWARD_REAL_DATA is set, but {} is missing", folder.display());
    Some(folder)
}

fn files(folder: &std::path::Path, start: &str) -> Vec<(String, Vec<u8>)> {
    let mut found: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter_map(|path| {
            let name = path.file_name()?.to_str()?.to_owned();
            name.starts_with(start).then(|| (name, std::fs::read(&path).unwrap()))
        })
        .collect();
    found.sort();
    assert!(!found.is_empty(), "no {start}* in {}", folder.display());
    println!("{} recorded {start}* files read", found.len());
    found
}

/// Hours, and sums over them of temperature (C), dew point (C), wind (m/s), cloud (0 to 1) and over the night minima (C),
/// by an independent expansion of each file with Python's json, datetime and re.
const SUMS: [(&str, usize, [f64; 5]); 4] = [
    ("gridpoint_fgz_74_89_20240220.json", 182, [510.5556, -780.0, 1090.6222, 105.64, -33.8889]),
    ("gridpoint_lzk_83_73_20240220.json", 194, [2947.7778, 1635.0, 1097.8244, 61.35, 84.4444]),
    (
        "gridpoint_mpx_108_72_20240111.json",
        182,
        [-2703.8889, -3203.8889, 1113.2578, 125.02, -155.5556],
    ),
    ("gridpoint_tae_58_65_20220204.json", 182, [1930.0, 1230.0, 361.14, 108.16, 46.6667]),
];

#[test]
fn recorded_gridpoints_agree_with_an_independent_expansion() {
    let Some(folder) = recorded() else { return };
    for (name, hours, expect) in SUMS {
        let body = std::fs::read(folder.join(name)).unwrap();
        let forecast = parse_gridpoint(&body, &Context::default()).unwrap();
        let steps = &forecast.steps;
        let sums: [f64; 5] = [
            steps.iter().filter_map(|s| s.temperature_c).sum(),
            steps.iter().filter_map(|s| s.dewpoint_c).sum(),
            steps.iter().filter_map(|s| s.wind_ms).sum(),
            steps.iter().filter_map(|s| s.cloud).sum(),
            forecast.minima.iter().map(|m| m.temperature_c).sum(),
        ];
        assert_eq!(steps.len(), hours, "{name}");
        for (is, expect) in sums.iter().zip(expect) {
            assert!((is - expect).abs() < 2e-4, "{name}: {is} for {expect}");
        }
    }
}

#[test]
fn recorded_gridpoints_are_read() {
    let Some(folder) = recorded() else { return };
    for (name, body) in files(&folder, "gridpoint_") {
        let forecast = parse_gridpoint(&body, &Context::default()).unwrap();
        let lows: Vec<f64> = forecast.steps.iter().filter_map(|s| s.temperature_c).collect();
        println!("{name}: {} hours, {} minima", forecast.steps.len(), forecast.minima.len());
        assert_eq!((forecast.missing, forecast.steps.len()), (0, lows.len()), "{name}");
        assert!(forecast.steps.len() > 180, "{name}: the service reaches a week");
        assert!(forecast.minima.len() >= 8, "{name}");
        assert!(forecast.steps.windows(2).all(|w| (w[1].time - w[0].time).num_hours() == 1));
        if name.starts_with("gridpoint_mpx") {
            // The file's own first value, updateTime and lowest value.
            assert!((lows[0] + 6.111_111).abs() < 1e-5);
            assert_eq!(forecast.issued_at.to_rfc3339(), "2024-01-11T17:12:50+00:00");
            let low = lows.iter().copied().fold(f64::INFINITY, f64::min);
            assert!((low + 23.333_333).abs() < 1e-5);
            assert!((forecast.steps[0].wind_ms.unwrap() - 9.26 / 3.6).abs() < 1e-9);
        }
    }
}

#[test]
fn a_recorded_gridpoint_is_only_for_its_own_place() {
    let Some(folder) = recorded() else { return };
    let body = std::fs::read(folder.join("gridpoint_fgz_74_89_20240220.json")).unwrap();
    let at = |text: &str| Context { place: text.parse().ok(), now: None };
    assert!(parse_gridpoint(&body, &at("35.198,-111.651")).is_ok());
    assert!(parse_gridpoint(&body, &at("44.19,-69.07")).is_err());
}

#[test]
fn recorded_hourly_forecasts_are_read() {
    let Some(folder) = recorded() else { return };
    for (name, body) in files(&folder, "hourly_") {
        let forecast = parse_hourly(&body, &Context::default()).unwrap();
        assert_eq!((forecast.missing, forecast.steps.len()), (0, 156), "{name}");
        if name.starts_with("hourly_okx") {
            // 21 F at 13:00 -05:00; updateTime 12 hours before generatedAt.
            assert_eq!(forecast.steps[0].time.to_rfc3339(), "2026-01-20T18:00:00+00:00");
            assert!((forecast.steps[0].temperature_c.unwrap() + 11.0 / 1.8).abs() < 1e-9);
            assert_eq!(forecast.issued_at.to_rfc3339(), "2026-01-20T06:07:29+00:00");
        }
    }
}

#[test]
fn recorded_observations_are_read_or_refused() {
    let Some(folder) = recorded() else { return };
    for (name, body) in files(&folder, "observation") {
        let read = parse_observation(&body, &Context::default());
        match name.as_str() {
            "observation_latest_knyc_20260120.json" => {
                assert_eq!(read.as_ref().unwrap().step.temperature_c, Some(-7.2));
                assert_eq!(read.unwrap().step.dewpoint_c, None);
            }
            "observation_latest_kvay_20251219.json" => {
                assert_eq!(read.unwrap().step.temperature_c, Some(14.0));
            }
            n if n.contains("features_null") => assert!(read.is_err()),
            _ => println!("{name}: {:?}", read.map(|r| r.step.temperature_c)),
        }
    }
}

#[test]
fn recorded_points_and_problems_are_read() {
    let Some(folder) = recorded() else { return };
    let (_, body) = files(&folder, "points_").remove(0);
    let context = Context { place: "40.7128,-74.006".parse().ok(), now: None };
    assert_eq!(parse_points(&body, &context).unwrap().grid_path(), "/gridpoints/OKX/33,35");
    for (name, body) in files(&folder, "problem_") {
        let refusal = parse_gridpoint(&body, &Context::default()).unwrap_err().to_string();
        assert!(refusal.contains("error document"), "{name}: {refusal}");
    }
}
