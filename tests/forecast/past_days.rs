//! `rimeward season PLACE --fetch`, against a local archive that answers as the public one does, or badly.

use std::process::Command;

use chrono::{Datelike, NaiveDate};
use rimeward::adapters::weather::Context;
use rimeward::adapters::weather::open_meteo::parse_open_meteo_days;

use super::server::{Reply, Server};
use crate::support::TempDir;

/// A yard of one place with a store, whose archive is `base`; `usage` stands in its Open-Meteo part.
fn config(folder: &TempDir, base: &str, usage: &str) -> String {
    let file = folder.path().join("rimeward.toml");
    let text = format!(
        "[yard]\nname = \"Own Yard\"\ntime_zone = \"America/New_York\"\n[store]\npath = \"own.sqlite\"\n\
         [forecast]\ncontact = \"office@example.org\"\n[forecast.open_meteo]\narchive_base = \"{base}\"\n{usage}\n\
         [mail]\nfrom = \"desk@example.org\"\nmaildir = \"Maildir\"\n"
    );
    std::fs::write(&file, text).unwrap();
    let config = file.to_str().unwrap().to_owned();
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo/sites.csv");
    let (code, _, err) = run(&["--config", &config, "import", "sites", demo]);
    assert_eq!(code, 0, "{err}");
    config
}

fn run(args: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_rimeward")).args(args).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

async fn run_beside(args: Vec<String>) -> (i32, String, String) {
    tokio::task::spawn_blocking(move || run(&args.iter().map(String::as_str).collect::<Vec<_>>()))
        .await
        .unwrap()
}

fn args(config: &str, more: &[&str]) -> Vec<String> {
    let head = ["--config", config, "season", "UPPER"];
    head.iter().chain(more).map(|a| (*a).to_owned()).collect()
}

/// Days as the head of the request asks for them: mild summers and winters that go down to -12 C.
fn answer(head: &str) -> Reply {
    let asked = |key: &str| -> NaiveDate {
        let from = head.find(key).unwrap() + key.len();
        head[from..from + 10].parse().unwrap()
    };
    let (from, to) = (asked("start_date="), asked("end_date="));
    let days: Vec<NaiveDate> = from.iter_days().take_while(|day| *day <= to).collect();
    let mean = |day: &NaiveDate| {
        let year = std::f64::consts::TAU * (f64::from(day.ordinal()) - 25.0) / 365.25;
        8.0 - 14.0 * year.cos()
    };
    let list = |add: f64| -> String {
        let values: Vec<String> = days.iter().map(|d| format!("{:.1}", mean(d) + add)).collect();
        values.join(",")
    };
    let dates: Vec<String> = days.iter().map(|day| format!("\"{day}\"")).collect();
    let body = format!(
        "{{\"latitude\":44.2,\"longitude\":-69.1,\"elevation\":3.0,\"utc_offset_seconds\":0,\"timezone\":\"GMT\",\
         \"daily_units\":{{\"time\":\"iso8601\",\"temperature_2m_min\":\"°C\",\"temperature_2m_max\":\"°C\"}},\
         \"daily\":{{\"time\":[{}],\"temperature_2m_min\":[{}],\"temperature_2m_max\":[{}]}}}}",
        dates.join(","),
        list(-6.0),
        list(5.0)
    );
    Reply::new(200, body).with("Content-Type", "application/json")
}

#[tokio::test(flavor = "multi_thread")]
async fn past_days_are_fetched_kept_and_credited_and_never_written_over() {
    let folder = TempDir::new("past-days");
    let server = Server::start(|head, _| answer(head)).await;
    let config = config(&folder, &server.base, "use = \"noncommercial\"");
    // What is wrong with the question is said before anything is asked or kept.
    for wrong in [["--tolerance", "0.9"], ["--at", "someday"]] {
        let asked = [&["--fetch"][..], &wrong[..]].concat();
        let (code, _, err) = run_beside(args(&config, &asked)).await;
        assert_eq!((code, server.paths().len()), (2, 0), "{err}");
    }
    let (code, out, err) = run_beside(args(&config, &["--fetch", "--years", "12"])).await;
    assert_eq!(code, 0, "{err}");
    let path = server.paths().pop().unwrap();
    assert!(path.starts_with("/v1/archive?latitude=") && path.contains("&timezone=GMT"), "{path}");
    assert!(path.contains("daily=temperature_2m_min,temperature_2m_max"), "{path}");
    assert!(server.seen()[0].contains("office@example.org"), "says who asks");
    assert!(out.contains("Weather data by Open-Meteo.com (CC BY 4.0)"), "{out}");
    assert!(out.contains("K colder for this place"), "UPPER lies in a hollow: {out}");
    assert!(out.contains("under [season.archives]") && out.contains("UPPER-days.csv"), "{out}");
    let kept = std::fs::read_to_string(folder.path().join("UPPER-days.csv")).unwrap();
    assert!(kept.starts_with("date,tmin_c,tmax_c,source\n"), "{}", &kept[..80]);
    assert!(kept.lines().count() > 4_000);
    // What is there stays as it is, and the file serves without the network.
    let (code, _, err) = run_beside(args(&config, &["--fetch"])).await;
    assert_eq!((code, server.paths().len()), (2, 1), "{err}");
    assert!(err.contains("is there already"), "{err}");
    // The line that was printed is one that the configuration takes, and says the same of the place: its own cold is in it.
    let line = out.lines().find(|line| line.starts_with("\"UPPER\" = ")).unwrap().to_owned();
    let text = std::fs::read_to_string(&config).unwrap();
    std::fs::write(&config, format!("{text}[season.archives]\n{line}\n")).unwrap();
    let (code, again, err) = run_beside(args(&config, &[])).await;
    assert_eq!(code, 0, "{err}");
    assert!(out.starts_with(again.trim_end()), "{again}\n{out}");
    let file = folder.path().join("UPPER-days.csv").display().to_string();
    let (_, given, _) = run_beside(args(&config, &["--archive", &file])).await;
    assert_eq!(given, again);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_is_shown_nowhere_not_even_where_the_service_sends_us_on_with_it() {
    let folder = TempDir::new("past-days-key");
    let server = Server::start(|head, _| {
        let path = head.split_whitespace().nth(1).unwrap();
        Reply::new(301, "").with("Location", format!("https://elsewhere.example.org{path}"))
    })
    .await;
    std::fs::write(folder.path().join("meteo.key"), "SECRETKEY123\n").unwrap();
    let config = config(&folder, &server.base, "key_file = \"meteo.key\"");
    let (code, out, err) = run_beside(args(&config, &["--fetch"])).await;
    assert_eq!(code, 1, "{err}");
    assert!(server.paths()[0].contains("apikey=SECRETKEY123"), "it is sent");
    assert!(err.contains("https://elsewhere.example.org/v1/archive"), "{err}");
    assert!(!format!("{out}{err}").contains("SECRETKEY123"), "{out}{err}");
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_asked_where_it_is_not_allowed_and_nothing_kept_of_a_bad_answer() {
    let folder = TempDir::new("past-days-bad");
    let server = Server::start(|_, number| match number {
        0 => Reply::new(200, "{\"error\":true,\"reason\":\"no such thing\"}")
            .with("Content-Type", "application/json"),
        1 => Reply::new(429, "{\"error\":true,\"reason\":\"Daily API request limit exceeded.\"}")
            .with("Content-Type", "application/json"),
        2 => Reply::new(200, "<html>").with("Content-Type", "text/html"),
        _ => Reply { cut_at: Some(40), ..Reply::new(200, vec![b'{'; 100]) },
    })
    .await;
    let allowed = config(&folder, &server.base, "use = \"noncommercial\"");
    for expect in ["no such thing", "asked too much", "instead of JSON", "broke off"] {
        let (code, out, err) = run_beside(args(&allowed, &["--fetch"])).await;
        assert_eq!((code, out.as_str()), (1, ""), "{err}");
        assert!(err.contains(expect), "{expect}: {err}");
    }
    assert!(!folder.path().join("UPPER-days.csv").exists());
    let other = TempDir::new("past-days-off");
    let off = config(&other, &server.base, "");
    let (code, _, err) = run_beside(args(&off, &["--fetch"])).await;
    assert_eq!((code, server.paths().len()), (2, 4), "{err}");
    assert!(err.contains("non-commercial"), "{err}");
}

#[test]
fn a_recorded_answer_of_days_is_read() {
    let Some(folder) = super::services::recorded() else { return };
    let file = folder.join("openmeteo/archive_daily_nyc_20251122_28.json");
    let body = std::fs::read(file).unwrap();
    let days = parse_open_meteo_days(&body, &Context::default()).unwrap();
    assert_eq!(days.len(), 7);
    assert!(days.iter().all(|d| d.low_c < d.high_c && d.low_c > -10.0 && d.high_c < 20.0));
}
