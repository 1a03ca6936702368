//! Official notices of cold: which are in force, and that a place without any is no fault.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::weather::PayloadError;
use rimeward::adapters::weather::client::{Client, ClientSettings, NoticeState, Service};
use rimeward::adapters::weather::nws::parse_notices;
use serde_json::{Value, json};

use super::server::{Reply, Server};

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// A feature in the service's format, as we would write one.
fn feature(id: &str, event: &str, vtec: Option<&str>, change: impl FnOnce(&mut Value)) -> Value {
    let mut properties = json!({
        "id": id, "event": event, "status": "Actual", "urgency": "Expected",
        "onset": "2022-11-14T06:00:00-05:00", "expires": "2022-11-13T20:00:00-05:00",
        "ends": "2022-11-14T14:00:00-05:00", "senderName": "an office",
        "parameters": vtec.map_or(json!({}), |vtec| json!({ "VTEC": [vtec] })),
    });
    change(&mut properties);
    json!({ "type": "Feature", "geometry": null, "properties": properties })
}

fn names(features: &[Value]) -> Vec<String> {
    let body = json!({ "type": "FeatureCollection", "features": features }).to_string();
    let found = parse_notices(body.as_bytes(), at("2022-11-13T23:00:00Z")).unwrap();
    found.into_iter().map(|notice| notice.event).collect()
}

#[test]
fn what_is_in_force_is_kept_until_the_hazard_ends() {
    let cold = |action: &str| format!("/O.{action}.KXXX.FZ.W.0001.221114T1100Z-221114T1900Z/");
    let new = feature("a", "Freeze Warning", Some(&cold("NEW")), |_| ());
    let body = json!({ "features": [new] }).to_string();
    let found = parse_notices(body.as_bytes(), at("2022-11-14T01:30:00Z")).unwrap();
    assert_eq!(found.len(), 1, "the message has expired, the hazard has not");
    assert_eq!(found[0].ends, at("2022-11-14T19:00:00Z"));
    let over = parse_notices(body.as_bytes(), at("2022-11-14T19:00:00Z")).unwrap();
    assert!(over.is_empty());
    assert_eq!(names(&[new]), ["Freeze Warning"]);
    for action in ["UPG", "CAN", "EXP"] {
        assert!(names(&[feature("a", "Freeze Watch", Some(&cold(action)), |_| ())]).is_empty());
    }
    let past = feature("a", "Freeze Watch", None, |p| p["urgency"] = json!("Past"));
    let test = feature("b", "Freeze Warning", None, |p| p["status"] = json!("Test"));
    assert!(names(&[past, test]).is_empty());
}

#[test]
fn an_update_takes_the_place_of_what_it_names_and_only_cold_is_kept() {
    let old = feature("old", "Frost Advisory", None, |_| ());
    let new = feature("new", "Freeze Warning", None, |p| {
        p["references"] = json!([{ "identifier": "old" }]);
    });
    assert_eq!(names(&[old, new]), ["Freeze Warning"]);
    let others = [
        feature("1", "Heavy Freezing Spray Warning", Some("/O.NEW.KX.UP.W.1.a-b/"), |_| ()),
        feature("2", "Winter Weather Advisory", None, |_| ()),
        feature("3", "Small Craft Advisory", None, |_| ()),
    ];
    assert!(names(&others).is_empty());
    let renamed = feature("4", "Bitter Cold Message", None, |_| ());
    assert_eq!(names(&[renamed]), ["Bitter Cold Message"], "a name that we do not know is shown");
}

#[test]
fn nothing_and_nonsense_are_told_apart() {
    assert!(names(&[]).is_empty());
    let now = at("2022-11-13T23:00:00Z");
    assert!(parse_notices(b"{\"features\":null}", now).unwrap().is_empty());
    assert!(matches!(parse_notices(b"<html>", now), Err(PayloadError::NotJson { .. })));
    let odd = json!({ "features": [{}, { "properties": 3 }, { "properties": { "event": [] } }] });
    assert!(parse_notices(odd.to_string().as_bytes(), now).unwrap().is_empty());
}

#[test]
fn recorded_notices_are_read() {
    let Some(folder) = std::env::var_os("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: no recorded notices");
        return;
    };
    let folder = std::path::Path::new(&folder).join("forecast/payloads/nws");
    let read = |name: &str| std::fs::read(folder.join(name)).unwrap();
    let now = at("2025-12-15T22:00:00Z");
    let found = parse_notices(&read("alerts_active_cold_20251215_a.json"), now).unwrap();
    let events: Vec<&str> = found.iter().map(|notice| notice.event.as_str()).collect();
    assert_eq!(events, ["Freeze Warning", "Cold Weather Advisory"], "superseded ones are gone");
    assert_eq!(found[0].ends, at("2025-12-16T14:00:00Z"));
    let none = parse_notices(&read("alerts_active_empty_nyc_20260120.json"), now).unwrap();
    assert!(none.is_empty());
}

#[tokio::test]
async fn notices_are_asked_for_by_the_point_now_and_then_and_trouble_keeps_what_is_known() {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let server = Server::start(|_, number| match number {
        0 => {
            let features = [feature("a", "Freeze Warning", None, |_| ())];
            Reply::new(200, json!({ "features": features }).to_string())
        }
        _ => Reply::problem(503, "Unavailable"),
    })
    .await;
    let settings = ClientSettings {
        base: server.base.clone(),
        contact: "harbour@example.org".to_owned(),
        deadline: Duration::from_millis(1500),
    };
    let client = Client::new(Service::NwsGridpoint, &settings).unwrap();
    let place = "44.19,-69.07".parse().unwrap();
    let mut state = NoticeState::default();
    let now = at("2022-11-13T23:00:00Z");
    assert!(client.notices(place, &mut state, now).await);
    assert_eq!(server.paths(), ["/alerts/active?point=44.1900,-69.0700"]);
    assert_eq!(state.notices.len(), 1);
    assert!(!client.notices(place, &mut state, now + TimeDelta::minutes(20)).await);
    assert_eq!(server.paths().len(), 1, "not due");
    let later = now + TimeDelta::minutes(31);
    assert!(!client.notices(place, &mut state, later).await);
    assert!(state.last_failure.is_some() && state.notices.len() == 1 && state.read_at == Some(now));
    assert!(!state.is_due(later + TimeDelta::minutes(20)));
}
