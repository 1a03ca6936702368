//! Stations near a place, against servers that answer as the public ones are known to: old readings repeated, nulls, empty
//! lists (row N16 of our list of failures that public issue threads report), and cells without any station.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::weather::Place;
use rimeward::adapters::weather::client::{Client, ClientSettings, Service, StationState};

use super::server::{Reply, Server};

const GRID: &str = "/gridpoints/GYX/98,71";

fn now() -> DateTime<Utc> {
    "2022-12-24T12:20:00Z".parse().unwrap()
}

fn station(id: &str, latitude: f64) -> String {
    format!(
        r#"{{"geometry":{{"type":"Point","coordinates":[-69.07,{latitude}]}},"properties":{{"stationIdentifier":"{id}","elevation":{{"unitCode":"wmoUnit:m","value":20}}}}}}"#
    )
}

fn list(stations: &[String]) -> Reply {
    Reply::new(
        200,
        format!(r#"{{"type":"FeatureCollection","features":[{}]}}"#, stations.join(",")),
    )
}

fn reading(at: &str, value: &str) -> Reply {
    Reply::new(
        200,
        format!(
            r#"{{"type":"Feature","properties":{{"timestamp":"{at}","temperature":{{"unitCode":"wmoUnit:degC","value":{value},"qualityControl":"V"}}}}}}"#
        ),
    )
}

async fn ask(
    server: &Server,
    state: &mut StationState,
    at: DateTime<Utc>,
) -> Option<(String, f64)> {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = ClientSettings {
        base: server.base.clone(),
        contact: "harbour@example.org".to_owned(),
        deadline: Duration::from_millis(1500),
    };
    let client = Client::new(Service::NwsGridpoint, &settings).unwrap();
    let place: Place = "44.19,-69.07".parse().unwrap();
    let measured = client.observe(place, GRID, state, at).await?;
    Some((measured.station, measured.step.temperature_c.unwrap()))
}

#[tokio::test]
async fn n16_the_list_is_walked_down_to_a_young_reading() {
    let server = Server::start(|head, _| match head.split_whitespace().nth(1).unwrap_or("") {
        // The nearest repeats an old reading, the next has a null; the fourth is too far away.
        path if path.ends_with("/stations") => list(&[
            station("QFAR", 46.0),
            station("QNUL", 44.22),
            station("QOLD", 44.20),
            station("QGUD", 44.30),
        ]),
        path if path.contains("QOLD") => reading("2022-12-24T01:00:00Z", "-1.0"),
        path if path.contains("QNUL") => reading("2022-12-24T12:00:00Z", "null"),
        path if path.contains("QGUD") => reading("2022-12-24T11:56:00Z", "-7.2"),
        _ => Reply::problem(404, "NotFound"),
    })
    .await;
    let mut state = StationState::default();
    assert_eq!(ask(&server, &mut state, now()).await, Some(("QGUD".to_owned(), -7.2)));
    let paths = server.paths();
    assert_eq!(paths.len(), 4, "{paths:?}");
    assert!(!paths.iter().any(|path| path.contains("QFAR")));
    // Not asked again before the next reading can be there; the list only once a day.
    assert_eq!(ask(&server, &mut state, now() + TimeDelta::minutes(30)).await, None);
    assert_eq!(server.paths().len(), 4);
    let later = now() + TimeDelta::minutes(50);
    assert_eq!(ask(&server, &mut state, later).await, Some(("QGUD".to_owned(), -7.2)));
    assert_eq!(server.paths().iter().filter(|path| path.ends_with("/stations")).count(), 1);
    assert!(server.seen().iter().all(|head| head.contains("harbour@example.org")));
}

#[tokio::test]
async fn a_cell_without_stations_is_asked_once_a_day() {
    for reply in [Reply::problem(404, "NotFound"), list(&[station("QFAR", 46.0)])] {
        let server = Server::start(move |_, _| reply.clone()).await;
        let mut state = StationState::default();
        for hour in 0..24 {
            let at = now() + TimeDelta::hours(hour);
            assert_eq!(ask(&server, &mut state, at).await, None);
        }
        assert_eq!(server.paths().len(), 1);
        assert!(state.last_failure.is_some());
        assert_eq!(ask(&server, &mut state, now() + TimeDelta::hours(24)).await, None);
        assert_eq!(server.paths().len(), 2);
    }
}

#[tokio::test]
async fn trouble_waits_longer_each_time_and_a_clock_put_back_does_not_stop_it() {
    let server = Server::start(|_, number| match number % 3 {
        0 => Reply::problem(503, "Unavailable"),
        1 => Reply::new(200, "<html>"),
        _ => Reply::new(200, r#"{"features":[]}"#),
    })
    .await;
    let mut state = StationState::default();
    let mut at = now();
    let mut asked = Vec::new();
    for _ in 0..40 {
        let before = server.paths().len();
        assert_eq!(ask(&server, &mut state, at).await, None);
        if server.paths().len() > before {
            asked.push((at - now()).num_minutes());
        }
        at += TimeDelta::minutes(20);
    }
    assert_eq!(asked, [0, 20, 60, 140, 300, 620]);
    assert!(state.is_due(at - TimeDelta::days(400)));
}
