//! The other services' documents, written by us in their published formats, and recorded ones where the machine has
//! them.

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use rimeward::adapters::weather::eccc::parse_eccc;
use rimeward::adapters::weather::met_norway::parse_met_norway;
use rimeward::adapters::weather::mosmix::parse_mosmix;
use rimeward::adapters::weather::open_meteo::{ARCHIVE, ENSEMBLE, FORECAST, parse_open_meteo};
use rimeward::adapters::weather::{Context, PayloadError};
use rimeward::domain::weather::Forecast;

fn payload(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/payloads").join(name);
    std::fs::read(path).unwrap()
}

fn anywhere() -> Context {
    Context::default()
}

fn at(place: &str) -> Context {
    Context { place: Some(place.parse().unwrap()), now: None }
}

/// The temperature that our documents were written from, C, hours after 2023-01-12T06:00Z.
fn written(hour: i32) -> f64 {
    let h = f64::from(hour);
    let t = -2.0 + 4.0 * ((h - 8.0) / 24.0 * std::f64::consts::TAU).cos() - h * 0.03;
    (t * 10.0).round() / 10.0
}

fn air(forecast: &Forecast, hour: usize) -> Option<f64> {
    forecast.steps[hour].temperature_c
}

#[test]
fn met_norway_is_hourly_to_its_end_and_keeps_published_lows_and_highs() {
    let forecast =
        parse_met_norway(&payload("met_norway/complete_own.json"), &at("59.2,10.42")).unwrap();
    assert_eq!(forecast.issued_at.to_rfc3339(), "2023-01-12T05:41:10+00:00");
    assert_eq!((forecast.steps.len(), forecast.missing), (121, 0));
    assert_eq!(forecast.cell_elevation_m, Some(7.0));
    for hour in [0, 10, 54, 60, 66, 120] {
        assert_eq!(air(&forecast, hour), Some(written(i32::try_from(hour).unwrap())), "{hour}");
    }
    for window in &forecast.minima {
        let inside =
            forecast.steps.iter().filter(|s| s.time > window.start && s.time <= window.end);
        let low = inside.filter_map(|s| s.temperature_c).fold(f64::MAX, f64::min);
        assert!((low - window.temperature_c).abs() < 1e-9, "{window:?}: {low}");
    }
    assert_eq!(forecast.minima.len(), 11);
    let step = &forecast.steps[57];
    let width = step.p90_c.unwrap() - step.p10_c.unwrap();
    assert!((width - 2.5).abs() < 0.11, "{width}");
    assert_eq!(forecast.steps[3].p10_c, None);
    assert!(
        forecast.warnings.iter().any(|w| w.contains("interpolated")),
        "{:?}",
        forecast.warnings
    );
}

#[test]
fn met_norway_without_a_unit_or_elsewhere_is_refused() {
    let text = String::from_utf8(payload("met_norway/complete_own.json")).unwrap();
    let bare = text.replace("\"celsius\"", "\"degrees\"");
    assert!(matches!(
        parse_met_norway(bare.as_bytes(), &anywhere()),
        Err(PayloadError::Unit { .. })
    ));
    let swapped = parse_met_norway(text.as_bytes(), &at("10.42,59.2"));
    assert!(matches!(swapped, Err(PayloadError::WrongPlace { .. })));
    let early = Context { place: None, now: Some("2023-01-11T05:00:00Z".parse().unwrap()) };
    assert!(matches!(parse_met_norway(text.as_bytes(), &early), Err(PayloadError::Dates { .. })));
}

#[test]
fn open_meteo_converts_by_the_units_it_names() {
    let body = payload("open_meteo/forecast_own.json");
    let forecast = parse_open_meteo(FORECAST, &body, &at("59.2,10.42")).unwrap();
    assert_eq!((forecast.steps.len(), forecast.missing), (60, 2));
    assert!((air(&forecast, 0).unwrap() - written(0)).abs() < 0.01);
    assert_eq!(air(&forecast, 7), None);
    assert!((forecast.steps[0].wind_ms.unwrap() - 3.0).abs() < 1e-9);
    assert_eq!(forecast.steps[0].cloud, Some(0.25));
    assert!(parse_open_meteo(FORECAST, &body, &at("10.42,59.2")).is_err());
    let nothing = parse_open_meteo(FORECAST, &payload("open_meteo/limit_own.json"), &anywhere());
    assert!(nothing.unwrap_err().to_string().contains("request limit"));
}

#[test]
fn open_meteo_local_stamps_are_brought_to_utc() {
    let forecast =
        parse_open_meteo(ARCHIVE, &payload("open_meteo/archive_own.json"), &anywhere()).unwrap();
    assert_eq!(forecast.steps[0].time.to_rfc3339(), "2023-01-12T05:00:00+00:00");
    assert!(forecast.warnings.iter().any(|w| w.contains("+1.0 h")));
}

#[test]
fn an_ensembles_middle_and_spread_are_those_of_its_members() {
    let forecast =
        parse_open_meteo(ENSEMBLE, &payload("open_meteo/ensemble_own.json"), &anywhere()).unwrap();
    assert_eq!(forecast.members.len(), 11);
    assert!(forecast.members.iter().all(|m| m.len() == forecast.steps.len()));
    let step = &forecast.steps[20];
    assert!((step.temperature_c.unwrap() - written(20)).abs() < 0.03);
    let width = step.p90_c.unwrap() - step.p10_c.unwrap();
    assert!((2.4..3.4).contains(&width), "{width}");
}

#[test]
fn mosmix_reads_the_nearest_station_from_text_and_from_an_archive() {
    let context = at("54.32,10.14");
    let plain = parse_mosmix(&payload("mosmix/stations_own.kml"), &context).unwrap();
    let packed = parse_mosmix(&payload("mosmix/stations_own.kmz"), &context).unwrap();
    assert_eq!(plain, packed);
    assert!((air(&plain, 0).unwrap() - written(0)).abs() < 0.01);
    assert_eq!((air(&plain, 5), plain.missing), (None, 1));
    let first = &plain.steps[0];
    // An expected absolute error of 1 K: 1.25 K of standard deviation, deciles 1.2816 of these away.
    assert!((first.p90_c.unwrap() - first.temperature_c.unwrap() - 1.602).abs() < 0.001);
    assert_eq!(plain.minima.len(), 2);
    let elsewhere = parse_mosmix(&payload("mosmix/stations_own.kml"), &at("10.14,54.32"));
    assert!(matches!(elsewhere, Err(PayloadError::WrongPlace { .. })));
    let mut cut = payload("mosmix/stations_own.kmz");
    cut.truncate(900);
    assert!(matches!(parse_mosmix(&cut, &context), Err(PayloadError::NotXml { .. })));
}

#[test]
fn eccc_reads_utc_hours_and_knows_calm() {
    let forecast = parse_eccc(&payload("eccc/page_own.xml"), &at("44.65,-63.57")).unwrap();
    assert_eq!(forecast.issued_at.to_rfc3339(), "2023-01-12T04:00:00+00:00");
    assert_eq!((forecast.steps.len(), forecast.missing), (24, 1));
    assert_eq!(air(&forecast, 0), Some(written(0).round()));
    assert_eq!(forecast.steps[2].wind_ms, Some(0.0));
    assert_eq!(forecast.steps[4].temperature_c, None);
    assert!(parse_eccc(&payload("eccc/page_own.xml"), &at("-63.57,44.65")).is_err());
}

fn read_all(body: &[u8]) {
    for context in [anywhere(), at("59.2,10.42"), at("54.3,10.2")] {
        for service in [FORECAST, ENSEMBLE, ARCHIVE] {
            if let Ok(forecast) = parse_open_meteo(service, body, &context) {
                assert!(forecast.steps.len() <= 200_000);
            }
        }
        for read in [parse_met_norway, parse_mosmix, parse_eccc] {
            if let Ok(forecast) = read(body, &context) {
                assert!(forecast.steps.len() < 1000);
            }
        }
    }
}

const OWN: [&str; 6] = [
    "met_norway/complete_own.json",
    "open_meteo/forecast_own.json",
    "open_meteo/ensemble_own.json",
    "mosmix/stations_own.kml",
    "mosmix/stations_own.kmz",
    "eccc/page_own.xml",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn damaged_documents_of_every_service_are_read_without_panic(
        which in 0..OWN.len(),
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
        is_cut in any::<bool>(),
    ) {
        let mut body = payload(OWN[which]);
        for (at, byte) in edits {
            let at = at.index(body.len());
            body[at] = if byte < 200 { b"0123456789-+.:/<>&Ee,"[usize::from(byte) % 21] } else { byte };
        }
        if is_cut {
            body.truncate(cut.index(body.len()));
        }
        read_all(&body);
    }

    #[test]
    fn any_bytes_are_read_without_panic(body in prop::collection::vec(any::<u8>(), 0..300)) {
        read_all(&body);
        let mut archive = b"PK\x03\x04".to_vec();
        archive.extend_from_slice(&body);
        archive.extend_from_slice(b"PK\x05\x06");
        archive.extend_from_slice(&body);
        read_all(&archive);
    }
}

/// The folder of recorded payloads; `None` when the variable is unset. A folder that is named but missing fails.
#[expect(clippy::disallowed_methods, reason = "the tests' own switch is an environment variable")]
pub fn recorded() -> Option<PathBuf> {
    let Ok(root) = std::env::var("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no recorded payload was read");
        return None;
    };
    let folder = PathBuf::from(root).join("forecast/payloads");
    assert!(folder.is_dir(), "RIMEWARD_REAL_DATA is set, but {} is missing", folder.display());
    Some(folder)
}

#[test]
fn recorded_documents_are_read_or_refused_as_they_should() {
    let Some(folder) = recorded() else { return };
    let body = |name: &str| std::fs::read(folder.join(name)).unwrap();
    let norway =
        parse_met_norway(&body("metno/complete_60N_10E_20240308.json"), &at("60,10")).unwrap();
    assert_eq!((norway.steps.len(), norway.missing), (235, 0));
    for window in &norway.minima {
        let inside = norway.steps.iter().filter(|s| s.time > window.start && s.time <= window.end);
        let low = inside.filter_map(|s| s.temperature_c).fold(f64::MAX, f64::min);
        assert!(low <= window.temperature_c + 1e-9, "{window:?}: {low}");
    }
    let swapped = body("metno/compact_swapped_latlon_20211012.json");
    assert!(parse_met_norway(&swapped, &anywhere()).is_ok());
    let refused = parse_met_norway(&swapped, &at("57.6984,11.9659"));
    assert!(matches!(refused, Err(PayloadError::WrongPlace { .. })));
    let ensemble = parse_open_meteo(
        ENSEMBLE,
        &body("openmeteo/ensemble_hourly_incheon_20260610.json"),
        &anywhere(),
    );
    assert_eq!(ensemble.unwrap().members.len(), 82);
    for name in ["forecast_daily_all_null_20221229.json", "error_400_latitude_out_of_range.json"] {
        assert!(
            parse_open_meteo(FORECAST, &body(&format!("openmeteo/{name}")), &anywhere()).is_err()
        );
    }
    let german = parse_mosmix(&body("dwd/mosmix_l_a762_20211220.kml"), &at("53.92,10.23")).unwrap();
    assert_eq!(
        (german.steps.len(), german.steps[0].temperature_c.map(|t| (t * 100.0).round())),
        (247, Some(-210.0))
    );
    let toronto =
        parse_eccc(&body("eccc/citypage_toronto_20260207.xml"), &at("43.65,-79.38")).unwrap();
    assert_eq!((toronto.steps.len(), toronto.steps[0].temperature_c), (24, Some(-20.0)));
}

#[test]
fn every_service_that_is_polled_has_a_name_for_people() {
    use rimeward::domain::weather::credit::names;
    for service in rimeward::adapters::weather::client::Service::ALL {
        assert_ne!(names([service.name()]), service.name());
    }
}
