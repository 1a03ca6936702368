//! How MET Norway, Open-Meteo and the German service are known to fail, one case after another, each by a local server that
//! fails so. The names are those of our list of known failures: M for MET Norway, O for Open-Meteo, D for the German service.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::weather::client::{
    Client, ClientSettings, FetchState, Options, Outcome, Service,
};
use rimeward::domain::weather::Forecast;
use serde_json::{Value, json};

use super::server::{Reply, Server};

const NORWAY: &str = include_str!("../payloads/met_norway/complete_own.json");
const METEO: &str = include_str!("../payloads/open_meteo/forecast_own.json");

fn now() -> DateTime<Utc> {
    "2023-01-12T06:10:00Z".parse().unwrap()
}

fn answer(status: u16, body: impl Into<Vec<u8>>) -> Reply {
    Reply::new(status, body).with("Content-Type", "application/json")
}

fn client(service: Service, server: &Server) -> Client {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = ClientSettings {
        base: server.base.clone(),
        contact: "harbour@example.org".into(),
        deadline: Duration::from_millis(1500),
    };
    let models = "ecmwf_ifs025".to_owned();
    Client::with(service, &settings, Options { models, ..Options::default() }).unwrap()
}

/// What comes of one question about the place that the documents are for, asked for the height of 12 m.
async fn ask(service: Service, reply: Reply) -> (Outcome, FetchState, Server) {
    let server = Server::start(move |_, _| reply.clone()).await;
    let mut state = FetchState::default();
    let place = "59.2,10.42".parse().unwrap();
    let outcome =
        client(service, &server).fetch_at(place, Some(12.0), None, &mut state, now()).await;
    (outcome, state, server)
}

fn changed(document: &str, change: impl FnOnce(&mut Value)) -> Reply {
    let mut document: Value = serde_json::from_str(document).unwrap();
    change(&mut document);
    answer(200, document.to_string())
}

fn fresh(outcome: Outcome) -> Forecast {
    match outcome {
        Outcome::Fresh(forecast, _) => *forecast,
        other => panic!("{other:?}"),
    }
}

fn refused(outcome: &Outcome) -> &str {
    match outcome {
        Outcome::Permanent { why } | Outcome::Malformed { why } | Outcome::Blocked { why } => why,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn m1_m3_a_403_stops_the_asking_of_the_whole_host_for_an_hour() {
    let server = Server::start(|_, _| answer(403, "Forbidden")).await;
    let client = client(Service::MetNorway, &server);
    let (here, there) = ("59.2,10.42".parse().unwrap(), "60.4,5.3".parse().unwrap());
    let mut state = FetchState::default();
    let outcome = client.fetch(here, None, &mut state, now()).await;
    assert!(refused(&outcome).contains("contact"), "{outcome:?}");
    assert!(
        server.seen()[0].to_lowercase().contains("user-agent: rimeward/"),
        "{}",
        server.seen()[0]
    );
    assert!(server.seen()[0].contains("(harbour@example.org)"), "{}", server.seen()[0]);
    // Every minute, for this place and for another that was never asked for: nothing is asked.
    for minute in 1..60 {
        let at = now() + TimeDelta::minutes(minute);
        client.fetch(here, None, &mut state, at).await;
        client.fetch(there, None, &mut FetchState::default(), at).await;
    }
    assert_eq!(server.paths().len(), 1);
}

#[tokio::test]
async fn m2_no_header_brings_it_below_ten_minutes_and_the_wait_outlives_a_restart() {
    let past = answer(200, NORWAY)
        .with("Expires", "Thu, 12 Jan 2023 06:00:00 GMT")
        .with("Cache-Control", "max-age=0");
    let (outcome, state, server) = ask(Service::MetNorway, past).await;
    fresh(outcome);
    assert!(state.not_before.unwrap() >= now() + TimeDelta::minutes(10), "{state:?}");
    // As the store keeps it and gives it to a new process.
    let mut kept: FetchState =
        serde_json::from_str(&serde_json::to_string(&state).unwrap()).unwrap();
    let again = client(Service::MetNorway, &server);
    let place = "59.2,10.42".parse().unwrap();
    let soon = now() + TimeDelta::minutes(9);
    let outcome = again.fetch(place, None, &mut kept, soon).await;
    assert!(matches!(outcome, Outcome::NotDue { .. }), "{outcome:?}");
    assert_eq!(server.paths().len(), 1);
}

#[tokio::test]
async fn m4_a_429_without_a_word_waits_ten_minutes() {
    let (outcome, _, _) = ask(Service::MetNorway, answer(429, "Too many requests")).await;
    assert_eq!(outcome, Outcome::Throttled { until: now() + TimeDelta::minutes(10) });
}

#[tokio::test]
async fn m7_the_height_is_asked_for_and_what_is_echoed_is_kept() {
    let echo = changed(NORWAY, |d| d["geometry"]["coordinates"][2] = json!(412));
    let (outcome, _, server) = ask(Service::MetNorway, echo).await;
    assert!(server.paths()[0].contains("&altitude=12"), "{:?}", server.paths());
    // 400 m off: the outlook brings the temperatures down itself.
    assert_eq!(fresh(outcome).cell_elevation_m, Some(412.0));
}

#[tokio::test]
async fn m8_latitude_and_longitude_swapped_are_another_place() {
    let swapped = changed(NORWAY, |d| {
        let at = d["geometry"]["coordinates"].as_array_mut().unwrap();
        at.swap(0, 1);
    });
    let (outcome, _, _) = ask(Service::MetNorway, swapped).await;
    assert!(refused(&outcome).contains("59.2,10.42"), "{outcome:?}");
}

#[tokio::test]
async fn m9_m11_m12_without_percentiles_under_a_203_and_with_a_bare_end_it_serves() {
    let bare = changed(NORWAY, |d| {
        let series = d["properties"]["timeseries"].as_array_mut().unwrap();
        for entry in series.iter_mut() {
            let details = entry["data"]["instant"]["details"].as_object_mut().unwrap();
            details.retain(|key, _| !key.contains("percentile"));
        }
        let last = series.last_mut().unwrap()["data"].as_object_mut().unwrap();
        last.retain(|key, _| key == "instant");
    });
    let (outcome, _, _) = ask(Service::MetNorway, Reply { status: 203, ..bare }).await;
    let forecast = fresh(outcome);
    assert!(forecast.steps.iter().all(|step| step.p10_c.is_none()));
    assert!(forecast.warnings.iter().any(|w| w.contains("percentiles")), "{:?}", forecast.warnings);
}

#[tokio::test]
async fn m10_o10_errors_of_the_servers_pass_with_growing_waits() {
    for service in [Service::MetNorway, Service::OpenMeteo, Service::OpenMeteoEnsemble] {
        let server = Server::start(|_, _| answer(502, "Bad gateway")).await;
        let client = client(service, &server);
        let (place, mut state) = ("59.2,10.42".parse().unwrap(), FetchState::default());
        let (mut at, mut waits) = (now(), Vec::new());
        for _ in 0..5 {
            let outcome = client.fetch(place, None, &mut state, at).await;
            assert!(matches!(outcome, Outcome::Transient { .. }), "{outcome:?}");
            let next = state.not_before.unwrap();
            waits.push((next - at).num_seconds());
            at = next;
        }
        assert!(waits.windows(2).all(|w| w[0] < w[1]) && waits[0] < 20, "{waits:?}");
    }
}

#[tokio::test]
async fn o1_o12_units_and_clock_are_asked_for_and_taken_from_the_answer() {
    let (outcome, _, server) = ask(Service::OpenMeteo, answer(200, METEO)).await;
    let path = &server.paths()[0];
    for expect in ["timezone=GMT", "temperature_unit=celsius", "wind_speed_unit=ms", "elevation=12"]
    {
        assert!(path.contains(expect), "{expect}: {path}");
    }
    // The document is in F whatever was asked for: 24.8 F are -4 C.
    assert!((fresh(outcome).steps[0].temperature_c.unwrap() + 4.0).abs() < 1e-9);
    let none = changed(METEO, |d| d["hourly_units"]["temperature_2m"] = json!(""));
    let (outcome, _, _) = ask(Service::OpenMeteo, none).await;
    assert!(refused(&outcome).contains("unit"), "{outcome:?}");
}

#[tokio::test]
async fn o3_o4_nothing_but_nulls_and_what_is_no_json_are_no_forecast() {
    let nulls = changed(METEO, |d| {
        for value in d["hourly"]["temperature_2m"].as_array_mut().unwrap() {
            *value = Value::Null;
        }
    });
    let (outcome, _, _) = ask(Service::OpenMeteo, nulls).await;
    assert!(matches!(outcome, Outcome::Malformed { .. }), "{outcome:?}");
    let nan = METEO.replacen("24.8", "nan", 1);
    let (outcome, _, _) = ask(Service::OpenMeteo, answer(200, nan)).await;
    assert!(matches!(outcome, Outcome::Malformed { .. }), "{outcome:?}");
    // Some holes are holes, never a zero.
    let holes = changed(METEO, |d| d["hourly"]["temperature_2m"][5] = Value::Null);
    let forecast = fresh(ask(Service::OpenMeteo, holes).await.0);
    let whole = fresh(ask(Service::OpenMeteo, answer(200, METEO)).await.0);
    assert_eq!((forecast.steps[5].temperature_c, forecast.missing), (None, whole.missing + 1));
}

#[tokio::test]
async fn o8_the_reason_of_a_429_says_how_long() {
    for (reason, minutes) in [
        ("Minutely API request limit exceeded. Please try again in one minute.", 10),
        ("Hourly API request limit exceeded. Please try again in the next hour.", 60),
        ("Daily API request limit exceeded. Please try again tomorrow.", 360),
    ] {
        let body = json!({ "error": true, "reason": reason }).to_string();
        let (outcome, _, _) = ask(Service::OpenMeteo, answer(429, body)).await;
        assert_eq!(outcome, Outcome::Throttled { until: now() + TimeDelta::minutes(minutes) });
    }
}

#[tokio::test]
async fn o11_o13_of_several_places_the_nearest_is_read_and_a_wrong_question_is_not_repeated() {
    let two = changed(METEO, |d| {
        let mut other = d.clone();
        other["latitude"] = json!(-33.0);
        let own = d.take();
        *d = json!([other, own]);
    });
    let (outcome, _, _) = ask(Service::OpenMeteo, two).await;
    fresh(outcome);
    let body =
        json!({ "error": true, "reason": "Latitude must be in range of -90 to 90" }).to_string();
    let (outcome, state, _) = ask(Service::OpenMeteo, answer(400, body)).await;
    assert!(refused(&outcome).contains("Latitude must be"), "{outcome:?}");
    assert!(state.refused && state.not_before.unwrap() >= now() + TimeDelta::hours(6), "{state:?}");
}

#[tokio::test]
async fn d1_of_the_german_service_the_temperature_alone_is_needed() {
    let text =
        String::from_utf8_lossy(include_bytes!("../payloads/mosmix/stations_own.kml")).into_owned();
    let only = ["Td", "FF", "N", "TN", "E_TTT"].iter().fold(text, |text, name| {
        text.replace(&format!("elementName=\"{name}\""), "elementName=\"Rad1h\"")
    });
    let server = Server::start(move |_, _| {
        Reply::new(200, only.clone()).with("Content-Type", "application/vnd.google-earth.kml+xml")
    })
    .await;
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = ClientSettings {
        base: server.base.clone(),
        contact: "harbour@example.org".into(),
        deadline: Duration::from_millis(1500),
    };
    let stations = vec![("Q002".to_owned(), "54.3,10.2".parse().unwrap())];
    let client =
        Client::with(Service::Mosmix, &settings, Options { stations, ..Options::default() })
            .unwrap();
    let place = "54.32,10.14".parse().unwrap();
    let outcome = client.fetch(place, None, &mut FetchState::default(), now()).await;
    let forecast = fresh(outcome);
    assert!(forecast.steps.iter().all(|s| s.dewpoint_c.is_none() && s.wind_ms.is_none()));
    assert!(forecast.steps.iter().any(|s| s.temperature_c.is_some()));
}
