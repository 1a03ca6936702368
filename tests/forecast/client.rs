//! The polite client against servers that misbehave. The rows N1, N2, ... are those of our list of failures that
//! public issue threads of api.weather.gov clients report (weather-gov/api and others).

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::weather::Place;
use rimeward::adapters::weather::client::{Client, ClientSettings, FetchState, Outcome, Service};

use super::own;
use super::server::{Reply, Server};

const GRID: &str = "/gridpoints/GYX/98,71";

fn quay() -> Place {
    "44.19,-69.07".parse().unwrap()
}

/// Shortly after the issue of the own gridpoint document.
fn now() -> DateTime<Utc> {
    "2022-11-14T20:00:00Z".parse().unwrap()
}

fn issue() -> DateTime<Utc> {
    "2022-11-14T19:12:00Z".parse().unwrap()
}

fn client(server: &Server) -> Client {
    // A second installation in one process is refused and harmless.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = ClientSettings {
        base: server.base.clone(),
        contact: "harbour@example.org".to_owned(),
        deadline: Duration::from_millis(1500),
    };
    Client::new(Service::NwsGridpoint, &settings).unwrap()
}

/// The place's cell for `/points`, `grid` for the rest.
async fn server_with(grid: impl Fn(&str, usize) -> Reply + Send + Sync + 'static) -> Server {
    Server::start(move |head, number| {
        if head.starts_with("GET /points/44.19,-69.07 ") {
            Reply::new(200, own::POINTS)
        } else {
            grid(head, number)
        }
    })
    .await
}

fn good() -> Reply {
    Reply::new(200, own::GRIDPOINT)
        .with("ETag", "\"own-1\"")
        .with("Last-Modified", "Mon, 14 Nov 2022 19:12:00 GMT")
        .with("Cache-Control", "public, max-age=1800")
        .with("Date", "Mon, 14 Nov 2022 20:00:00 GMT")
}

fn issued_at(stamp: &str) -> String {
    own::GRIDPOINT.replace("2022-11-14T19:12:00+00:00", stamp)
}

async fn fetch(server: &Server, stored: Option<DateTime<Utc>>, state: &mut FetchState) -> Outcome {
    client(server).fetch(quay(), stored, state, now()).await
}

/// One call from a fresh state.
async fn outcome_of(reply: Reply) -> (Outcome, FetchState, Server) {
    let server = server_with(move |_, _| reply.clone()).await;
    let mut state = FetchState::default();
    let outcome = fetch(&server, None, &mut state).await;
    (outcome, state, server)
}

fn wait_s(state: &FetchState) -> i64 {
    (state.not_before.unwrap() - now()).num_seconds()
}

#[tokio::test]
async fn a_place_is_resolved_and_its_grid_read() {
    let (outcome, state, server) = outcome_of(good()).await;
    let Outcome::Fresh(forecast, length) = outcome else { panic!("{outcome:?}") };
    assert_eq!((forecast.issued_at, length), (issue(), own::GRIDPOINT.len()));
    assert_eq!(server.paths(), ["/points/44.19,-69.07", GRID]);
    for head in server.seen() {
        let head = head.to_lowercase();
        assert!(head.contains("rimeward/") && head.contains("(harbour@example.org)"), "{head}");
        assert!(head.contains("accept: application/geo+json"), "{head}");
        assert!(!head.contains("if-none-match"), "{head}");
    }
    assert_eq!((state.etag.as_deref(), wait_s(&state)), (Some("\"own-1\""), 1800));
    assert_eq!(state.last_answer_at, Some(now()));
}

#[tokio::test]
async fn nothing_is_asked_before_its_time_and_then_conditionally() {
    let server = server_with(|head, _| {
        if head.to_lowercase().contains("if-none-match: \"own-1\"") {
            assert!(head.contains("Mon, 14 Nov 2022 19:12:00 GMT"));
            Reply::new(304, "")
        } else {
            good()
        }
    })
    .await;
    let client = client(&server);
    let mut state = FetchState::default();
    client.fetch(quay(), None, &mut state, now()).await;
    let stored = serde_json::to_string(&state).unwrap();
    let mut state: FetchState = serde_json::from_str(&stored).unwrap();
    let soon = now() + TimeDelta::minutes(29);
    let outcome = client.fetch(quay(), Some(issue()), &mut state, soon).await;
    assert!(matches!(outcome, Outcome::NotDue { .. }), "{outcome:?}");
    assert_eq!(server.paths().len(), 2);
    let later = now() + TimeDelta::minutes(30);
    let outcome = client.fetch(quay(), Some(issue()), &mut state, later).await;
    assert_eq!(outcome, Outcome::NotModified);
    assert_eq!(server.paths().len(), 3, "the cell is not asked again within the day");
    let tomorrow = now() + TimeDelta::hours(25);
    client.fetch(quay(), Some(issue()), &mut state, tomorrow).await;
    assert_eq!(server.paths().len(), 5, "but after it");
}

#[tokio::test]
async fn n1_a_burst_of_500_is_transient_and_waits_grow() {
    let server =
        server_with(
            |_, number| {
                if number < 4 { Reply::problem(500, "UnexpectedProblem") } else { good() }
            },
        )
        .await;
    let client = client(&server);
    let mut state = FetchState::default();
    let mut at = now();
    for _ in 0..3 {
        let outcome = client.fetch(quay(), None, &mut state, at).await;
        let Outcome::Transient { why } = outcome else { panic!("{outcome:?}") };
        assert!(why.contains("UnexpectedProblem"), "{why}");
        let next = state.not_before.unwrap();
        assert!(next > at);
        at = next;
    }
    assert!(at - now() > TimeDelta::seconds(60));
    let outcome = client.fetch(quay(), None, &mut state, at).await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
    assert_eq!(state.consecutive_failures, 0);
}

#[tokio::test]
async fn n2_a_refused_connection_is_transient() {
    let server = server_with(|_, _| good()).await;
    let settings = ClientSettings {
        base: "http://127.0.0.1:9".to_owned(),
        contact: "harbour@example.org".to_owned(),
        deadline: Duration::from_millis(1500),
    };
    drop(client(&server));
    let client = Client::new(Service::NwsGridpoint, &settings).unwrap();
    let outcome = client.fetch(quay(), None, &mut FetchState::default(), now()).await;
    assert!(matches!(outcome, Outcome::Transient { .. }), "{outcome:?}");
}

#[tokio::test]
async fn n3_an_expired_grid_is_not_hammered() {
    let (outcome, state, _server) = outcome_of(Reply::problem(503, "ForecastGridExpired")).await;
    let Outcome::Transient { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("ForecastGridExpired"), "{why}");
    assert_eq!(wait_s(&state), 900);
}

#[tokio::test]
async fn n5_n6_a_stale_200_is_asked_once_more_with_another_agent() {
    let server = server_with(|head, _| {
        if head.contains("second try") {
            good()
        } else {
            Reply::new(200, issued_at("2022-11-13T12:00:00+00:00"))
        }
    })
    .await;
    let outcome = fetch(&server, None, &mut FetchState::default()).await;
    let Outcome::Fresh(forecast, _) = outcome else { panic!("{outcome:?}") };
    assert_eq!(forecast.issued_at, issue());
    assert!(server.seen().last().unwrap().contains("(harbour@example.org)"));
    let (outcome, state, _server) =
        outcome_of(Reply::new(200, issued_at("2022-11-13T07:00:00+00:00"))).await;
    assert!(matches!(outcome, Outcome::Stale { .. }), "37 hours old: {outcome:?}");
    assert_eq!(state.etag, None);
    let (outcome, _, _server) =
        outcome_of(Reply::new(200, issued_at("2022-11-13T18:00:00+00:00"))).await;
    let Outcome::Fresh(forecast, _) = outcome else { panic!("{outcome:?}") };
    assert!(forecast.warnings.contains(&"issued 26 hours ago".to_owned()), "{forecast:?}");
}

#[tokio::test]
async fn n7_an_older_run_never_replaces_a_newer_one() {
    let server = server_with(|_, _| good()).await;
    let stored = Some(issue() + TimeDelta::hours(1));
    let mut state = FetchState::default();
    let outcome = fetch(&server, stored, &mut state).await;
    assert!(matches!(outcome, Outcome::Stale { .. }), "{outcome:?}");
    let outcome = fetch(&server, Some(issue()), &mut FetchState::default()).await;
    assert_eq!(outcome, Outcome::NotModified, "the same issue again");
}

#[tokio::test]
async fn n8_a_404_from_the_grid_resolves_the_place_again_once() {
    let server = server_with(|head, _| {
        if head.contains(GRID) { good() } else { Reply::problem(404, "MarineForecastNotSupported") }
    })
    .await;
    let mut state = FetchState {
        grid_path: Some("/gridpoints/GYX/1,1".to_owned()),
        resolved_at: Some(now()),
        ..FetchState::default()
    };
    let outcome = fetch(&server, None, &mut state).await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
    assert_eq!(server.paths(), ["/gridpoints/GYX/1,1", "/points/44.19,-69.07", GRID]);
    assert_eq!(state.grid_path.as_deref(), Some(GRID));
}

#[tokio::test]
async fn n9_a_cell_that_stays_404_is_permanent_or_passing_by_its_past() {
    let (outcome, state, server) =
        outcome_of(Reply::problem(404, "MarineForecastNotSupported")).await;
    assert!(matches!(outcome, Outcome::Permanent { .. }), "{outcome:?}");
    assert_eq!((state.grid_path.as_ref(), server.paths().len()), (None, 2));
    let mut state = FetchState { last_answer_at: Some(now()), ..FetchState::default() };
    let outcome = fetch(&server, None, &mut state).await;
    assert!(matches!(outcome, Outcome::Transient { .. }), "{outcome:?}");
}

#[tokio::test]
async fn n8_the_document_of_another_place_is_refused_and_the_cell_forgotten() {
    let elsewhere = own::GRIDPOINT.replace("-69.0", "-79.0");
    let (outcome, state, _server) = outcome_of(Reply::new(200, elsewhere)).await;
    let Outcome::Malformed { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("44.19,-69.07"), "{why}");
    assert_eq!(state.grid_path, None);
}

#[tokio::test]
async fn n11_redirects_are_followed_on_the_same_host_only() {
    let server = server_with(|head, _| {
        if head.contains(GRID) {
            Reply::problem(301, "MovedPermanently").with("Location", "/gridpoints/GYX/98,72")
        } else {
            good()
        }
    })
    .await;
    let outcome = fetch(&server, None, &mut FetchState::default()).await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
    let other = server_with(|_, _| good()).await;
    let to = format!("{}{GRID}", other.base);
    let (outcome, _, _server) = outcome_of(Reply::problem(301, "Moved").with("Location", to)).await;
    assert!(matches!(outcome, Outcome::Permanent { .. }), "{outcome:?}");
    assert_eq!(other.paths(), Vec::<String>::new());
    let round = Reply::problem(302, "Moved").with("Location", GRID);
    let (outcome, _, server) = outcome_of(round).await;
    assert!(matches!(outcome, Outcome::Permanent { .. }), "{outcome:?}");
    assert!(server.paths().len() <= 6, "a circle ends");
}

#[tokio::test]
async fn a_stated_grid_address_on_another_host_is_not_used() {
    let other = server_with(|_, _| good()).await;
    let stated = format!("{}{GRID}", other.base);
    let points = own::POINTS.replace("https://example.org/gridpoints/GYX/98,71", &stated);
    let server = Server::start(move |head, _| {
        if head.contains("/points/") { Reply::new(200, points.clone()) } else { good() }
    })
    .await;
    let outcome = fetch(&server, None, &mut FetchState::default()).await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
    assert_eq!(server.paths(), ["/points/44.19,-69.07", GRID]);
    assert_eq!(other.paths(), Vec::<String>::new());
}

#[tokio::test]
async fn n12_an_unknown_point_is_permanent_at_first_and_passing_later() {
    let server = Server::start(|_, _| Reply::problem(404, "InvalidPoint")).await;
    let mut state = FetchState::default();
    let outcome = fetch(&server, None, &mut state).await;
    let Outcome::Permanent { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("InvalidPoint"), "{why}");
    let mut state = FetchState { last_answer_at: Some(now()), ..FetchState::default() };
    let outcome = fetch(&server, Some(issue()), &mut state).await;
    assert!(matches!(outcome, Outcome::Transient { .. }), "{outcome:?}");
    assert!(wait_s(&state) < 60);
}

#[tokio::test]
async fn n13_a_403_is_not_retried_within_the_hour() {
    let (outcome, state, _server) = outcome_of(Reply::problem(403, "Forbidden")).await;
    let Outcome::Blocked { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("contact"), "{why}");
    assert_eq!(wait_s(&state), 3600);
    let settings = ClientSettings {
        base: "https://api.weather.gov".to_owned(),
        contact: " ".to_owned(),
        deadline: Duration::from_secs(1),
    };
    assert!(Client::new(Service::NwsGridpoint, &settings).is_err(), "no contact, no client");
}

#[tokio::test]
async fn a_429_waits_as_long_as_it_says() {
    let asked = Reply::problem(429, "TooManyRequests").with("Retry-After", "120");
    let (outcome, state, _server) = outcome_of(asked).await;
    assert_eq!(outcome, Outcome::Throttled { until: now() + TimeDelta::seconds(120) });
    assert_eq!(wait_s(&state), 120);
    let server = server_with(|_, _| Reply::problem(429, "TooManyRequests")).await;
    let (client, mut state) = (client(&server), FetchState::default());
    client.fetch(quay(), None, &mut state, now()).await;
    assert_eq!(wait_s(&state), 600);
    let other: Place = "44.29,-69.25".parse().unwrap();
    let outcome = client.fetch(other, None, &mut FetchState::default(), now()).await;
    assert!(matches!(outcome, Outcome::NotDue { .. }), "the wait is the host's: {outcome:?}");
    assert_eq!(server.paths().len(), 2);
}

#[tokio::test]
async fn a_truncated_body_is_transient() {
    let cut = Reply { cut_at: Some(900), ..good() };
    let (outcome, state, _server) = outcome_of(cut).await;
    let Outcome::Transient { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("broke off"), "{why}");
    assert_eq!(state.etag, None);
    // Cut by a machine in between that repaired the length.
    let (outcome, _, _server) = outcome_of(Reply::new(200, &own::GRIDPOINT[..900])).await;
    assert!(matches!(outcome, Outcome::Malformed { .. }), "{outcome:?}");
}

#[tokio::test]
async fn a_page_instead_of_json_is_malformed() {
    let page = Reply::new(200, "<html>sorry</html>").with("Content-Type", "text/html; charset=x");
    let (outcome, _, _server) = outcome_of(page).await;
    let Outcome::Malformed { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("text/html"), "{why}");
}

#[tokio::test]
async fn a_slow_drip_ends_at_the_deadline() {
    let drip = Reply { drip: Some(Duration::from_millis(100)), ..good() };
    let (outcome, _, _server) = outcome_of(drip).await;
    assert!(matches!(outcome, Outcome::Transient { .. }), "{outcome:?}");
}

#[tokio::test]
async fn an_oversize_body_is_not_kept() {
    let (outcome, _, _server) = outcome_of(Reply::new(200, vec![b' '; 5 * 1024 * 1024])).await;
    let Outcome::Malformed { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("more than 4194304 bytes"), "{why}");
}

#[tokio::test]
async fn a_skewed_clock_is_named_and_an_issue_from_the_future_refused() {
    let ahead = good().with("Date", "Mon, 14 Nov 2022 20:40:00 GMT");
    let (outcome, _, _server) = outcome_of(ahead).await;
    let Outcome::Fresh(forecast, _) = outcome else { panic!("{outcome:?}") };
    assert!(forecast.warnings.iter().any(|w| w.contains("40 minutes")), "{forecast:?}");
    let future = Reply::new(200, issued_at("2022-11-15T19:12:00+00:00"))
        .with("Date", "Tue, 15 Nov 2022 20:00:00 GMT");
    let (outcome, _, _server) = outcome_of(future).await;
    let Outcome::Malformed { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("ahead of our clock") && why.contains("1440 minutes"), "{why}");
}

#[tokio::test]
async fn a_clock_put_back_does_not_stop_the_asking() {
    let server = server_with(|_, _| good()).await;
    let mut state =
        FetchState { not_before: Some(now() + TimeDelta::days(400)), ..FetchState::default() };
    let outcome = fetch(&server, None, &mut state).await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
}

#[tokio::test]
async fn n15_nulls_for_everything_are_no_forecast() {
    let mut document: serde_json::Value = serde_json::from_str(own::GRIDPOINT).unwrap();
    for entry in document["properties"]["temperature"]["values"].as_array_mut().unwrap() {
        entry["value"] = serde_json::Value::Null;
    }
    let (outcome, state, _server) = outcome_of(Reply::new(200, document.to_string())).await;
    assert!(matches!(outcome, Outcome::Malformed { .. }), "{outcome:?}");
    assert_eq!(state.last_answer_at, None, "and no answer");
}

#[tokio::test]
async fn a_services_clock_is_read_from_every_answer_and_a_copy_out_of_a_cache_allowed_for() {
    let stated = |date: &'static str, age: &'static str| {
        move |_: &str, _: usize| good().with("Date", date).with("Age", age)
    };
    for (date, age, ahead) in [
        ("Mon, 14 Nov 2022 20:00:00 GMT", "0", TimeDelta::zero()),
        ("Thu, 17 Nov 2022 20:00:00 GMT", "0", TimeDelta::days(3)),
        ("Mon, 14 Nov 2022 17:00:00 GMT", "10800", TimeDelta::zero()),
    ] {
        let server = Server::start(stated(date, age)).await;
        let client = client(&server);
        assert!(client.is_on_this_machine());
        assert_eq!(client.take_clock_ahead(), None, "nothing was asked");
        let _ = client.fetch(quay(), None, &mut FetchState::default(), now()).await;
        let found = client.take_clock_ahead().unwrap();
        assert!((found - ahead).abs() < TimeDelta::seconds(3), "{date}: {found}");
        assert_eq!(client.take_clock_ahead(), None, "asked for and gone");
    }
}

#[tokio::test]
async fn n10_a_place_on_the_water_gets_the_forecast_of_the_land_beside_it() {
    let script = |head: &str, _: usize| {
        if head.starts_with("GET /points/44.19,-69.07 ") {
            Reply::new(200, own::POINTS.replace("\"land\"", "\"marine\"").replace("98", "99"))
        } else if head.starts_with("GET /points/44.19,-69.0351 ") {
            Reply::new(200, own::POINTS.replace("-69.07", "-69.0351"))
        } else if head.contains(GRID) {
            good()
        } else {
            Reply::problem(404, "MarineForecastNotSupported")
        }
    };
    let server = Server::start(script).await;
    let mut state = FetchState::default();
    let outcome = fetch(&server, None, &mut state).await;
    let Outcome::Fresh(forecast, _) = &outcome else { panic!("{outcome:?}") };
    assert!(forecast.warnings.iter().any(|words| words.contains("on the water")), "{forecast:?}");
    assert_eq!(state.land.as_deref(), Some("44.19,-69.0351"));
    assert_eq!(server.paths().len(), 3, "{:?}", server.paths());
}

/// Trouble is no word about where the land is: what is known goes on serving.
#[tokio::test]
async fn n10_known_land_is_kept_through_trouble_at_the_daily_look() {
    let sick = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
    let is_sick = sick.clone();
    let script = move |head: &str, _: usize| {
        let points = head.starts_with("GET /points/");
        if points && is_sick.load(std::sync::atomic::Ordering::SeqCst) {
            Reply::problem(503, "Busy")
        } else if head.starts_with("GET /points/44.19,-69.0351 ") {
            Reply::new(200, own::POINTS.replace("-69.07", "-69.0351"))
        } else if head.contains(GRID) {
            good()
        } else {
            Reply::problem(404, "MarineForecastNotSupported")
        }
    };
    let server = Server::start(script).await;
    let mut state = FetchState::default();
    assert!(matches!(fetch(&server, None, &mut state).await, Outcome::Fresh(..)));
    let land = state.land.clone();
    assert_eq!(land.as_deref(), Some("44.19,-69.0351"));
    for ill in [true, false, true] {
        sick.store(ill, std::sync::atomic::Ordering::SeqCst);
        (state.not_before, state.etag, state.last_modified) = (None, None, None);
        state.resolved_at = Some(now() - TimeDelta::hours(25));
        let outcome = fetch(&server, None, &mut state).await;
        assert!(matches!(outcome, Outcome::Fresh(..)), "{ill}: {outcome:?}");
        assert_eq!(state.land, land, "{ill}");
    }
    // Trouble at the very first look: the next one finds it.
    let mut state = FetchState::default();
    assert!(matches!(fetch(&server, None, &mut state).await, Outcome::Transient { .. }));
    sick.store(false, std::sync::atomic::Ordering::SeqCst);
    state.not_before = None;
    assert!(matches!(fetch(&server, None, &mut state).await, Outcome::Fresh(..)));
}

#[tokio::test]
async fn n12_a_place_abroad_is_asked_around_once() {
    let server = Server::start(|_, _| Reply::problem(404, "InvalidPoint")).await;
    let mut state = FetchState::default();
    for tries in [5, 6] {
        state.not_before = None;
        let outcome = fetch(&server, None, &mut state).await;
        assert!(matches!(outcome, Outcome::Permanent { .. }), "{outcome:?}");
        assert_eq!(server.paths().len(), tries, "{:?}", server.paths());
    }
}
