//! Several services at once, against local servers that misbehave.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::intake;
use rimeward::adapters::sqlite;
use rimeward::adapters::weather::client::{
    Client, ClientSettings, FetchState, Options, Outcome, Service,
};
use rimeward::app::assess::AsOf;
use rimeward::app::assess::outlook::outlook_of;
use rimeward::app::context::AppContext;
use rimeward::app::fetch::fetch_all;
use rimeward::app::settings::Settings;
use rimeward::domain::weather::credit::credits;
use rimeward::domain::weather::{Forecast, ForecastState};
use rimeward::domain::yard::Site;

use super::server::{Reply, Server};
use crate::support::TempDir;

const NORWAY: &[u8] = include_bytes!("../payloads/met_norway/complete_own.json");
const METEO: &[u8] = include_bytes!("../payloads/open_meteo/forecast_own.json");
const LIMIT: &[u8] = include_bytes!("../payloads/open_meteo/limit_own.json");
const STATION: &[u8] = include_bytes!("../payloads/mosmix/stations_own.kmz");

fn now() -> DateTime<Utc> {
    "2023-01-12T06:10:00Z".parse().unwrap()
}

fn json(body: &[u8]) -> Reply {
    Reply::new(200, body).with("Content-Type", "application/json")
}

fn client(service: Service, server: &Server, options: Options) -> Client {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = ClientSettings {
        base: server.base.clone(),
        contact: "harbour@example.org".into(),
        deadline: Duration::from_millis(1500),
    };
    Client::with(service, &settings, options).unwrap()
}

/// Two places side by side, in one cell of every service, and the yard's settings for two servers.
fn house(folder: &TempDir, norway: &Server, meteo: &Server) -> (AppContext, Vec<Site>) {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let text = format!(
        r#"
[yard]
name = "Own Yard"
time_zone = "Europe/Oslo"
[store]
path = "own.sqlite"
[forecast]
contact = "office@example.org"
services = ["met-norway", "open-meteo"]
[forecast.met_norway]
base = "{}"
[forecast.open_meteo]
use = "noncommercial"
base = "{}"
[mail]
from = "desk@example.org"
maildir = "Maildir"
"#,
        norway.base, meteo.base
    );
    std::fs::write(folder.path().join("own.toml"), &text).unwrap();
    let settings = Settings::parse(&text, folder.path()).unwrap();
    let house = AppContext::open(settings, sqlite::Options::default()).unwrap();
    let head = include_str!("../../config/demo/sites.csv").lines().next().unwrap();
    let model = include_str!("../../config/demo/sites.csv").lines().nth(1).unwrap();
    let mut sites = intake::csv::sites(format!("{head}\n{model}\n").as_bytes(), "s").unwrap().rows;
    sites[0].latitude = 59.2;
    sites[0].longitude = 10.42;
    let mut other = sites[0].clone();
    other.id = "other".into();
    other.latitude = 59.2004;
    sites.push(other);
    house.store.put_yard(&sites, &[], &[]).unwrap();
    (house, sites)
}

fn state(
    house: &AppContext,
    site: &Site,
    at: DateTime<Utc>,
) -> (Option<std::sync::Arc<Forecast>>, ForecastState) {
    outlook_of(house.forecasts(), site, AsOf::now(at)).unwrap()
}

#[tokio::test]
async fn places_in_one_cell_share_a_request_and_two_services_one_outlook() {
    let norway =
        Server::start(|_, _| json(NORWAY).with("Expires", "Thu, 12 Jan 2023 06:45:00 GMT")).await;
    let meteo = Server::start(|_, _| json(METEO)).await;
    let folder = TempDir::new("several");
    let (house, sites) = house(&folder, &norway, &meteo);
    let clients = house.weather_client().unwrap().unwrap();
    let fetched = fetch_all(&*house.store, &clients, &sites, now(), &|| true).await.unwrap();
    assert!(fetched.iter().all(|f| f.new_issue && f.trouble.is_empty()), "{fetched:?}");
    assert_eq!((norway.paths().len(), meteo.paths().len()), (1, 1));
    let height = format!("{:.0}", sites[0].elevation_m);
    assert_eq!(
        norway.paths()[0],
        format!("/weatherapi/locationforecast/2.0/complete?lat=59.2&lon=10.42&altitude={height}")
    );
    assert!(
        meteo.paths()[0].contains("timezone=GMT")
            && meteo.paths()[0].contains("temperature_unit=celsius")
    );
    for site in &sites {
        let (outlook, state) = state(&house, site, now());
        let outlook = outlook.unwrap();
        assert_eq!(
            (outlook.service.as_str(), state),
            ("met-norway+open-meteo", ForecastState::Fresh)
        );
        assert!(
            outlook.steps.iter().all(|s| s.p10_c < s.temperature_c && s.temperature_c < s.p90_c)
        );
        let shown = credits([outlook.service.as_str()]).join(", ");
        assert!(shown.contains("MET Norway") && shown.contains("Open-Meteo"), "{shown}");
    }
    let again = fetch_all(&*house.store, &clients, &sites, now() + TimeDelta::minutes(5), &|| true)
        .await
        .unwrap();
    assert!(
        again.iter().all(|f| !f.new_issue) && norway.paths().len() == 1,
        "asked before Expires"
    );
}

#[tokio::test]
async fn a_service_that_fails_leaves_the_other_and_says_so() {
    let norway = Server::start(|_, _| Reply::new(503, "later")).await;
    let meteo = Server::start(|_, _| json(METEO)).await;
    let folder = TempDir::new("several-one");
    let (house, sites) = house(&folder, &norway, &meteo);
    let clients = house.weather_client().unwrap().unwrap();
    let fetched = fetch_all(&*house.store, &clients, &sites, now(), &|| true).await.unwrap();
    assert!(fetched[0].new_issue && fetched[0].trouble.contains("503"), "{fetched:?}");
    let (outlook, state) = state(&house, &sites[0], now());
    assert_eq!((outlook.unwrap().service.as_str(), state), ("open-meteo", ForecastState::Fresh));
}

#[tokio::test]
async fn a_place_that_every_service_refuses_is_blind_even_with_a_forecast_in_hand() {
    let turn =
        |number: usize, good: &[u8]| if number == 0 { json(good) } else { Reply::new(403, "no") };
    let norway = Server::start(move |_, n| turn(n, NORWAY)).await;
    let meteo = Server::start(move |_, n| turn(n, METEO)).await;
    let folder = TempDir::new("several-none");
    let (house, sites) = house(&folder, &norway, &meteo);
    let clients = house.weather_client().unwrap().unwrap();
    fetch_all(&*house.store, &clients, &sites[..1], now(), &|| true).await.unwrap();
    assert_eq!(state(&house, &sites[0], now()).1, ForecastState::Fresh);
    let later = now() + TimeDelta::hours(2);
    let fetched = fetch_all(&*house.store, &clients, &sites[..1], later, &|| true).await.unwrap();
    assert!(fetched[0].refused && fetched[0].trouble.contains("403"), "{fetched:?}");
    assert_eq!(state(&house, &sites[0], later).1, ForecastState::Blind);
}

#[tokio::test]
async fn a_limit_of_the_minute_waits_and_a_key_is_never_shown() {
    let meteo =
        Server::start(|_, _| Reply::new(429, LIMIT).with("Content-Type", "application/json")).await;
    let options = Options { api_key: Some("s3cretkey".into()), ..Options::default() };
    let client = client(Service::OpenMeteo, &meteo, options);
    let mut kept = FetchState::default();
    let place = "59.2,10.42".parse().unwrap();
    let outcome = client.fetch(place, None, &mut kept, now()).await;
    let Outcome::Throttled { until } = &outcome else { panic!("{outcome:?}") };
    assert!(*until >= now() + TimeDelta::minutes(10));
    assert!(meteo.paths()[0].contains("apikey=s3cretkey"));
    let down = Server::start(|_, _| Reply::new(500, "no")).await;
    let options = Options { api_key: Some("s3cretkey".into()), ..Options::default() };
    let client = self::client(Service::OpenMeteo, &down, options);
    let outcome = client.fetch(place, None, &mut FetchState::default(), now()).await;
    assert!(!format!("{outcome:?}").contains("s3cretkey"), "{outcome:?}");
}

#[tokio::test]
async fn a_station_file_is_unpacked_and_a_page_in_its_place_is_not() {
    let good = Server::start(|_, _| {
        Reply::new(200, STATION).with("Content-Type", "application/octet-stream")
    })
    .await;
    let station = |name: &str, at: &str| (name.to_owned(), at.parse().unwrap());
    let options = || Options {
        stations: vec![station("Q009", "50,8"), station("Q002", "54.3,10.2")],
        ..Options::default()
    };
    let place = "54.32,10.14".parse().unwrap();
    let outcome = client(Service::Mosmix, &good, options())
        .fetch(place, None, &mut FetchState::default(), now())
        .await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
    assert!(good.paths()[0].ends_with("MOSMIX_L_LATEST_Q002.kmz"), "{:?}", good.paths());
    let page =
        Server::start(|_, _| Reply::new(200, "<html>").with("Content-Type", "text/html")).await;
    let outcome = client(Service::Mosmix, &page, options())
        .fetch(place, None, &mut FetchState::default(), now())
        .await;
    assert!(matches!(outcome, Outcome::Malformed { .. }), "{outcome:?}");
    let far = client(Service::Mosmix, &good, options())
        .fetch("20,0".parse().unwrap(), None, &mut FetchState::default(), now())
        .await;
    assert!(matches!(far, Outcome::Permanent { .. }), "{far:?}");
}

#[test]
fn open_meteo_is_off_until_its_use_is_stated() {
    let text = include_str!("../../config/rimeward.toml")
        .replace("you@example.invalid", "office@example.org")
        .replace("\"met-norway\"]", "\"open-meteo\"]");
    let folder = std::path::Path::new("/tmp");
    let problems = Settings::parse(&text, folder).unwrap_err();
    assert!(problems.iter().any(|p| p.contains("non-commercial")), "{problems:?}");
    let stated = text.replace("# use = \"noncommercial\"", "use = \"noncommercial\"");
    assert!(Settings::parse(&stated, folder).is_ok());
}

#[tokio::test]
async fn where_the_hourly_budget_does_not_reach_for_all_each_place_has_its_turn() {
    let norway = Server::start(|_, _| Reply::problem(503, "Unavailable")).await;
    // The answer of whichever cell is asked for.
    let meteo = Server::start(|head, _| {
        let number = |key: &str| -> f64 {
            let from = head.find(key).unwrap() + key.len();
            head[from..].split(['&', ' ']).next().unwrap().parse().unwrap()
        };
        let mut document: serde_json::Value = serde_json::from_slice(METEO).unwrap();
        document["latitude"] = number("latitude=").into();
        document["longitude"] = number("longitude=").into();
        json(document.to_string().as_bytes())
    })
    .await;
    let folder = TempDir::new("budget");
    let (mut house, model) = house(&folder, &norway, &meteo);
    house.settings.forecast.services.retain(|name| format!("{name:?}") == "OpenMeteo");
    // A tenth of the free tier's 5,000 an hour is what the client allows itself.
    let sites: Vec<Site> = (0..520)
        .map(|at| Site {
            id: format!("S{at:03}").into(),
            latitude: 45.0 + 0.1 * f64::from(at),
            ..model[0].clone()
        })
        .filter(|site| site.latitude < 90.0)
        .collect();
    let sites: Vec<Site> = sites
        .iter()
        .flat_map(|site| {
            [1.0, 11.0].map(|east| Site {
                id: format!("{}-{east}", site.id).into(),
                longitude: east,
                ..site.clone()
            })
        })
        .take(520)
        .collect();
    house.store.put_yard(&sites, &[], &[]).unwrap();
    let clients = house.weather_client().unwrap().unwrap();
    fetch_all(&*house.store, &clients, &sites, now(), &|| true).await.unwrap();
    assert_eq!(meteo.paths().len(), 500);
    fetch_all(&*house.store, &clients, &sites, now() + TimeDelta::hours(1), &|| true)
        .await
        .unwrap();
    let blind = sites
        .iter()
        .filter(|site| state(&house, site, now() + TimeDelta::hours(1)).1 == ForecastState::Blind);
    assert_eq!(blind.count(), 0, "those that had to wait come first the next hour");
}

#[tokio::test]
async fn sick_cells_do_not_keep_the_well_ones_from_being_asked() {
    let norway = Server::start(|_, _| Reply::problem(503, "Unavailable")).await;
    // The three first places fail for days, as single cells do; all others answer.
    let meteo = Server::start(|head, number| {
        let sick = ["latitude=45&", "latitude=45.1&", "latitude=45.2&"];
        if sick.iter().any(|cell| head.contains(cell)) {
            return Reply::problem(500, "UnexpectedProblem");
        }
        let from = head.find("latitude=").unwrap() + 9;
        let north: f64 = head[from..].split('&').next().unwrap().parse().unwrap();
        let mut document: serde_json::Value =
            serde_json::from_slice(&meteo_plus(f64::from(u32::try_from(number).unwrap()) / 50.0))
                .unwrap();
        document["latitude"] = north.into();
        json(document.to_string().as_bytes())
    })
    .await;
    let folder = TempDir::new("sick");
    let (mut house, model) = house(&folder, &norway, &meteo);
    house.settings.forecast.services.retain(|name| format!("{name:?}") == "OpenMeteo");
    let sites: Vec<Site> = (0..12)
        .map(|at| Site {
            id: format!("S{at:02}").into(),
            latitude: 45.0 + 0.1 * f64::from(at),
            ..model[0].clone()
        })
        .collect();
    house.store.put_yard(&sites, &[], &[]).unwrap();
    let clients = house.weather_client().unwrap().unwrap();
    for hour in 0..30 {
        let at = now() + TimeDelta::hours(hour);
        fetch_all(&*house.store, &clients, &sites, at, &|| true).await.unwrap();
    }
    let at = now() + TimeDelta::hours(29);
    let fresh = sites.iter().filter(|site| state(&house, site, at).1 == ForecastState::Fresh);
    assert_eq!(fresh.count(), 9, "all but the three that the service fails for");
}

#[tokio::test]
async fn m7_an_answer_for_another_height_is_brought_to_ours() {
    let at_height = |metres: f64| {
        let mut document: serde_json::Value = serde_json::from_slice(NORWAY).unwrap();
        document["geometry"]["coordinates"][2] = metres.into();
        document.to_string().into_bytes()
    };
    let mut found = Vec::new();
    for apart_m in [0.0, 400.0] {
        let folder = TempDir::new("height");
        let meteo = Server::start(|_, _| Reply::problem(503, "Unavailable")).await;
        let own_m = {
            let unused = Server::start(|_, _| Reply::problem(503, "Unavailable")).await;
            house(&TempDir::new("height-of"), &unused, &meteo).1[0].elevation_m
        };
        let body = at_height(own_m + apart_m);
        let norway = Server::start(move |_, _| json(&body)).await;
        let (mut house, sites) = house(&folder, &norway, &meteo);
        house.settings.forecast.services.retain(|name| format!("{name:?}") == "MetNorway");
        let clients = house.weather_client().unwrap().unwrap();
        fetch_all(&*house.store, &clients, &sites[..1], now(), &|| true).await.unwrap();
        let outlook = state(&house, &sites[0], now()).0.unwrap();
        found.push(outlook.steps[10].temperature_c.unwrap());
    }
    // 0.0065 K/m over 400 m (standard atmosphere, ISO 2533).
    assert!((found[1] - found[0] - 2.6).abs() < 0.05, "{found:?}");
}

/// Open-Meteo's document with every temperature `add` F higher.
fn meteo_plus(add: f64) -> Vec<u8> {
    let mut document: serde_json::Value = serde_json::from_slice(METEO).unwrap();
    for value in document["hourly"]["temperature_2m"].as_array_mut().unwrap() {
        if let Some(f) = value.as_f64() {
            *value = (f + add).into();
        }
    }
    document.to_string().into_bytes()
}

#[tokio::test]
async fn o7_a_run_that_is_given_out_again_and_again_grows_old() {
    let norway = Server::start(|_, _| Reply::problem(503, "Unavailable")).await;
    let meteo =
        Server::start(|_, number| json(&meteo_plus(if number < 20 { 0.0 } else { 1.0 }))).await;
    let folder = TempDir::new("same-run");
    let (mut house, sites) = house(&folder, &norway, &meteo);
    house.settings.forecast.services.retain(|name| format!("{name:?}") == "OpenMeteo");
    let clients = house.weather_client().unwrap().unwrap();
    let mut states = Vec::new();
    for hour in 0..22 {
        let at = now() + TimeDelta::hours(hour);
        fetch_all(&*house.store, &clients, &sites[..1], at, &|| true).await.unwrap();
        states.push(state(&house, &sites[0], at).1);
    }
    assert_eq!(meteo.paths().len(), 22);
    // Degraded from 12 h on by the contract's table, though the service answers 200 every hour; a new run is fresh.
    assert_eq!(states[11], ForecastState::Fresh);
    assert_eq!(states[14], ForecastState::Degraded);
    assert_eq!(states[20], ForecastState::Fresh, "the run of hour 20 is another");
}

#[tokio::test]
async fn an_answer_that_cannot_be_true_is_put_aside_with_the_reason() {
    let norway = Server::start(|_, number| match number {
        0 => json(NORWAY),
        // One value for days; then an error document, which is the service's own word and no payload.
        1 => {
            let mut document: serde_json::Value = serde_json::from_slice(NORWAY).unwrap();
            document["properties"]["meta"]["updated_at"] = "2023-01-12T09:41:10Z".into();
            for entry in document["properties"]["timeseries"].as_array_mut().unwrap() {
                entry["data"] = serde_json::json!({"instant": {"details": {"air_temperature": 3.0}},
                    "next_1_hours": {"details": {}}});
            }
            json(document.to_string().as_bytes())
        }
        _ => Reply::problem(503, "Unavailable"),
    })
    .await;
    let meteo = Server::start(|_, _| Reply::problem(503, "Unavailable")).await;
    let folder = TempDir::new("aside");
    let (mut house, sites) = house(&folder, &norway, &meteo);
    house.settings.forecast.services.retain(|name| format!("{name:?}") == "MetNorway");
    let clients = house.weather_client().unwrap().unwrap();
    let site = &sites[0];
    for hour in [0, 4, 8] {
        let at = now() + TimeDelta::hours(hour);
        fetch_all(&*house.store, &clients, &sites[..1], at, &|| true).await.unwrap();
    }
    let aside = house.store.refused(&site.id).unwrap();
    assert_eq!(aside.len(), 1, "{aside:?}");
    assert_eq!(
        (aside[0].service.as_str(), aside[0].at),
        ("met-norway", now() + TimeDelta::hours(4))
    );
    assert!(aside[0].why.contains("3"), "{}", aside[0].why);
    assert!(
        serde_json::from_slice::<serde_json::Value>(&aside[0].body).is_ok(),
        "whole, to be read again"
    );
    // It counts as missing: the forecast in hand is the one before it.
    let (forecast, _) = state(&house, site, now() + TimeDelta::hours(8));
    assert_eq!(forecast.unwrap().issued_at.to_rfc3339(), "2023-01-12T05:41:10+00:00");
    // The operator reads why, and has the answer written out to look into it.
    drop(house);
    let (config, file) = (folder.path().join("own.toml"), folder.path().join("answer.json"));
    let place = |more: &[&str]| {
        let id = site.id.to_string();
        crate::flow::rimeward(Some(&config), &[&["place", id.as_str()], more].concat())
    };
    let told = crate::flow::text(&place(&["--refused", file.to_str().unwrap()]));
    assert!(
        told.contains("Refused, and not used: met-norway") && told.contains("Written to"),
        "{told}"
    );
    assert_eq!(std::fs::read(&file).unwrap(), aside[0].body);
    // Programs read when by the clock of the place, as every other time.
    let told: serde_json::Value =
        serde_json::from_str(&crate::flow::text(&place(&["--json"]))).unwrap();
    let local = aside[0].at.with_timezone(&site.time_zone).to_rfc3339();
    assert!(!local.ends_with("+00:00"), "{local}");
    assert_eq!(told["refused"][0]["at"], local.as_str());
    assert_eq!(
        crate::flow::code(&place(&["--refused", file.to_str().unwrap()])),
        2,
        "nothing is written over"
    );
}
