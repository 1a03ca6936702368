//! Ten thousand places fetched from a local server and kept in a store, and each service's documents read: figures, and what
//! share of the fetching is reading. `cargo bench --bench fetch -- [PLACES]`. Prints one JSON document.
//!
//! The places lie in cells of their own; the client asks no service more often than its hourly budget allows, so that a
//! first look at all of them takes several passes an hour apart on a virtual clock.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_precision_loss,
    reason = "a benchmark may stop at the first surprise, and its counts are small"
)]

use std::hint::black_box;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{Response, StatusCode};
use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::weather::Context;
use rimeward::adapters::weather::met_norway::parse_met_norway;
use rimeward::adapters::weather::mosmix::parse_mosmix;
use rimeward::adapters::weather::nws::parse_gridpoint;
use rimeward::adapters::weather::open_meteo::{ENSEMBLE, FORECAST, parse_open_meteo};
use rimeward::adapters::{intake, sqlite as store};
use rimeward::app::context::AppContext;
use rimeward::app::fetch::fetch_all;
use rimeward::app::settings::Settings;
use rimeward::domain::yard::Site;
use serde_json::{Value, json};

const NORWAY: &str = include_str!("../payloads/met_norway/complete_own.json");
/// Each document is read so often.
const READINGS: u32 = 300;

#[derive(Clone)]
struct Served {
    document: Arc<Value>,
    requests: Arc<AtomicUsize>,
}

/// The own document for whichever place is asked for; "not modified" to whoever holds it.
async fn answer(State(served): State<Served>, request: Request) -> Response<String> {
    served.requests.fetch_add(1, Ordering::Relaxed);
    let query = request.uri().query().unwrap_or_default();
    let number = |key: &str| -> f64 {
        let found = query.split('&').find_map(|part| part.strip_prefix(key));
        found.and_then(|text| text.parse().ok()).unwrap_or(0.0)
    };
    let head = Response::builder()
        .header("Content-Type", "application/json")
        .header("Last-Modified", "Thu, 12 Jan 2023 05:41:10 GMT");
    if request.headers().contains_key("if-modified-since") {
        return head.status(StatusCode::NOT_MODIFIED).body(String::new()).unwrap();
    }
    let mut document = Value::clone(&served.document);
    document["geometry"]["coordinates"] = json!([number("lon="), number("lat="), 5.0]);
    head.body(document.to_string()).unwrap()
}

fn sites(count: usize) -> Vec<Site> {
    let mut lines = include_str!("../../config/demo/sites.csv").lines();
    let (head, model) = (lines.next().unwrap(), lines.next().unwrap());
    let model = intake::csv::sites(format!("{head}\n{model}\n").as_bytes(), "s").unwrap().rows;
    (0..count)
        .map(|at| Site {
            id: format!("S{at:05}").into(),
            latitude: 45.0 + 0.05 * (at / 100) as f64,
            longitude: 5.0 + 0.05 * (at % 100) as f64,
            ..model[0].clone()
        })
        .collect()
}

fn house(folder: &std::path::Path, base: &str) -> AppContext {
    let text = format!(
        "[yard]\nname = \"Own Yard\"\ntime_zone = \"Europe/Oslo\"\n[store]\npath = \"own.sqlite\"\n[forecast]\n\
         contact = \"office@example.org\"\nservices = [\"met-norway\"]\n[forecast.met_norway]\nbase = \"{base}\"\n\
         [mail]\nfrom = \"desk@example.org\"\nmaildir = \"Maildir\"\n"
    );
    AppContext::open(Settings::parse(&text, folder).unwrap(), store::Options::default()).unwrap()
}

fn reading(name: &str, body: &[u8], read: impl Fn(&[u8]) -> usize) -> Value {
    let hours = read(body);
    let begun = Instant::now();
    for _ in 0..READINGS {
        black_box(read(black_box(body)));
    }
    let each_us = begun.elapsed().as_secs_f64() * 1e6 / f64::from(READINGS);
    json!({ "document": name, "bytes": body.len(), "hours": hours, "us_each": each_us.round(),
            "mb_per_s": (body.len() as f64 / each_us * 10.0).round() / 10.0 })
}

fn readings() -> Vec<Value> {
    let context = Context::default();
    vec![
        reading("met-norway", NORWAY.as_bytes(), |b| {
            parse_met_norway(b, &context).unwrap().steps.len()
        }),
        reading("nws-gridpoint", include_bytes!("../payloads/nws/gridpoint_own.json"), |b| {
            parse_gridpoint(b, &context).unwrap().steps.len()
        }),
        reading("open-meteo", include_bytes!("../payloads/open_meteo/forecast_own.json"), |b| {
            parse_open_meteo(FORECAST, b, &context).unwrap().steps.len()
        }),
        reading(
            "open-meteo-ensemble",
            include_bytes!("../payloads/open_meteo/ensemble_own.json"),
            |b| parse_open_meteo(ENSEMBLE, b, &context).unwrap().steps.len(),
        ),
        reading("mosmix", include_bytes!("../payloads/mosmix/stations_own.kmz"), |b| {
            parse_mosmix(b, &context).unwrap().steps.len()
        }),
    ]
}

#[tokio::main]
async fn main() {
    let places = std::env::args().filter_map(|a| a.parse().ok()).next().unwrap_or(10_000);
    rustls::crypto::ring::default_provider().install_default().unwrap();
    let folder = std::env::temp_dir().join(format!("rimeward-bench-fetch-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let served = Served {
        document: Arc::new(serde_json::from_str(NORWAY).unwrap()),
        requests: Arc::default(),
    };
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    let router = Router::new().fallback(answer).with_state(served.clone());
    tokio::spawn(async move { axum::serve(listener, router).await.unwrap() });

    let house = house(&folder, &base);
    let sites = sites(places);
    house.store.put_yard(&sites, &[], &[]).unwrap();
    let clients = house.weather_client().unwrap().unwrap();
    let mut now: DateTime<Utc> = "2023-01-12T06:10:00Z".parse().unwrap();
    let mut passes = Vec::new();
    let (mut kept, begun) = (0, Instant::now());
    while kept < places {
        let (start, before) = (Instant::now(), served.requests.load(Ordering::Relaxed));
        let fetched = fetch_all(&*house.store, &clients, &sites, now, &|| true).await.unwrap();
        let new = fetched.iter().filter(|f| f.new_issue).count();
        kept += new;
        let seconds = start.elapsed().as_secs_f64();
        let requests = served.requests.load(Ordering::Relaxed) - before;
        passes.push(json!({ "at": now, "requests": requests, "new": new, "s": seconds }));
        assert!(requests > 0, "nothing was asked at {now}: {passes:?}");
        now += TimeDelta::hours(1);
    }
    let first_s = begun.elapsed().as_secs_f64();
    // All of it once more, now that the server can say "not modified".
    let (start, before) = (Instant::now(), served.requests.load(Ordering::Relaxed));
    fetch_all(&*house.store, &clients, &sites, now, &|| true).await.unwrap();
    let again = served.requests.load(Ordering::Relaxed) - before;
    let again_s = start.elapsed().as_secs_f64();
    let bytes = std::fs::metadata(folder.join("own.sqlite")).map_or(0, |m| m.len());
    let readings = readings();
    println!(
        "{:#}",
        json!({
            "places": places, "passes_an_hour_apart": passes.len(), "s": first_s,
            "places_per_s": (places as f64 / first_s).round(), "store_bytes_per_place": bytes / places as u64,
            "not_modified": { "requests": again, "s": again_s, "per_s": (again as f64 / again_s).round() },
            "readings": readings, "passes": passes,
        })
    );
    std::fs::remove_dir_all(folder).unwrap();
}
