//! The weather of a seed in any year, and a service that forecasts it: honest on good days.

use std::sync::{Arc, Mutex, OnceLock};

use chrono::{DateTime, DurationRound, TimeDelta, Utc};
use rimeward::sim::demo::document;
use rimeward::sim::demo::issues::{Issue, IssuedHour};
use rimeward::sim::demo::winter::{DEMO_SEED, Winter, WinterCell};

use crate::forecast::server::{Reply, Server};

/// A new issue every so many hours.
const ISSUE_EVERY_H: i64 = 6;
/// Hours ahead that a document reaches.
const AHEAD_H: i64 = 120;

/// One station, beside the upper lot.
const STATIONS: &str = r#"{"type":"FeatureCollection","features":[{"geometry":{"type":"Point","coordinates":[-69.07,44.2]},"properties":{"stationIdentifier":"QWLD","elevation":{"unitCode":"wmoUnit:m","value":50}}}]}"#;

/// How the service misbehaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    Well,
    /// Answers with this status.
    Status(u16),
    /// Asks us to wait an hour.
    TooMany,
    /// Cuts every document off.
    Truncated,
    /// A web page in place of the document.
    Page,
    /// Goes on serving the issue of that time.
    Stuck(DateTime<Utc>),
    /// Every temperature missing.
    Nulls,
}

pub struct Weather {
    seed: u64,
    cell: WinterCell,
    pub now: DateTime<Utc>,
    pub manner: Manner,
}

pub fn cell() -> WinterCell {
    static CELL: OnceLock<WinterCell> = OnceLock::new();
    CELL.get_or_init(|| {
        let winter = Winter::reconstruct(DEMO_SEED).unwrap();
        winter.cells().iter().find(|cell| cell.site == "UPPER").unwrap().clone()
    })
    .clone()
}

impl Weather {
    pub fn new(seed: u64, now: DateTime<Utc>) -> Self {
        Self { seed, cell: cell(), now, manner: Manner::Well }
    }

    /// Degrees F at an hour since 1970: a winter's day, weather systems of two to nine days, and the day's own.
    fn truth_f(&self, hour: i64) -> f64 {
        let h = hour as f64;
        let mut t = 34.0 + 7.0 * ((h - 19.0) / 24.0 * std::f64::consts::TAU).cos();
        for (index, days) in [(0, 2.3), (1, 3.7), (2, 5.9), (3, 9.1)] {
            let phase = f64::from(u16::try_from(self.draw(index) % 6283).unwrap()) / 1000.0;
            t += 6.0 * (h / 24.0 / days * std::f64::consts::TAU + phase).sin();
        }
        t
    }

    /// A forecast's error at a lead, in F: slow over the hours, new with every issue.
    fn error_f(&self, issue: i64, lead_h: i64) -> f64 {
        let draw = f64::from(u16::try_from(self.draw(issue * 7 + lead_h / 24) % 2001).unwrap());
        (draw / 1000.0 - 1.0) * 0.7 * (lead_h.max(1) as f64).sqrt()
    }

    fn draw(&self, what: i64) -> u64 {
        let mut z = self.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ what.cast_unsigned();
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// When the newest issue at `now` was made.
    pub fn issued_at(now: DateTime<Utc>) -> DateTime<Utc> {
        let since = now - TimeDelta::minutes(10);
        since.duration_trunc(TimeDelta::hours(ISSUE_EVERY_H)).unwrap() + TimeDelta::minutes(10)
    }

    fn issue(&self, now: DateTime<Utc>) -> Issue {
        let issued_at = Self::issued_at(now);
        let first = issued_at.timestamp() / 3600;
        let hours = (-2..AHEAD_H).map(|lead| {
            let hour = first + lead;
            let f = whole(self.truth_f(hour) + self.error_f(first, lead));
            IssuedHour { hour, temperature_f: f, dewpoint_f: f - 4, wind_kt: 5, cloud_percent: 40 }
        });
        Issue { issued_at, hours: hours.collect() }
    }

    fn answer(&self, head: &str, base: &str) -> Reply {
        let path = head.split_whitespace().nth(1).unwrap_or("/");
        match self.manner {
            Manner::Status(403) => return Reply::problem(403, "Forbidden"),
            Manner::Status(status) => return Reply::problem(status, "UnexpectedProblem"),
            Manner::TooMany => {
                return Reply::problem(429, "TooMany").with("Retry-After", "3600");
            }
            Manner::Page => {
                return Reply::new(200, "<html><body>Down for now</body></html>")
                    .with("Content-Type", "text/html");
            }
            _ => {}
        }
        if let Some(place) = path.strip_prefix("/points/").and_then(|p| p.parse().ok()) {
            let text = document::points(&self.cell, place, base);
            return Reply::new(200, text).with("Cache-Control", "max-age=86400");
        }
        if path.ends_with("/stations") {
            return Reply::new(200, STATIONS);
        }
        if path.starts_with("/stations/QWLD/") {
            let hour = self.now.timestamp() / 3600;
            let at = DateTime::from_timestamp(hour * 3600, 0).unwrap();
            let air_c = (self.truth_f(hour) - 32.0) / 1.8;
            return Reply::new(
                200,
                format!(
                    r#"{{"type":"Feature","properties":{{"timestamp":"{}","temperature":{{"unitCode":"wmoUnit:degC","value":{air_c:.1}}}}}}}"#,
                    at.to_rfc3339()
                ),
            );
        }
        let seen = if let Manner::Stuck(since) = self.manner { since } else { self.now };
        let issue = self.issue(seen);
        let etag = format!("\"i{}\"", issue.issued_at.timestamp());
        let usual =
            |reply: Reply| reply.with("Cache-Control", "max-age=3000").with("ETag", etag.clone());
        if head.to_ascii_lowercase().contains(&format!("if-none-match: {etag}")) {
            return usual(Reply::new(304, ""));
        }
        let mut text = document::gridpoint(&self.cell, &issue, base);
        if self.manner == Manner::Nulls {
            text = nulled(&text);
        }
        let mut reply = usual(Reply::new(200, text));
        if self.manner == Manner::Truncated {
            reply.cut_at = Some(900);
        }
        reply
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a temperature in whole degrees")]
fn whole(f: f64) -> i32 {
    f.round() as i32
}

/// Every value of every layer missing.
fn nulled(text: &str) -> String {
    let mut document: serde_json::Value = serde_json::from_str(text).unwrap();
    for layer in document["properties"].as_object_mut().unwrap().values_mut() {
        if let Some(values) = layer.get_mut("values").and_then(|values| values.as_array_mut()) {
            for value in values {
                value["value"] = serde_json::Value::Null;
            }
        }
    }
    document.to_string()
}

/// Starts the service; it answers as of the weather's own clock.
pub async fn serve(weather: Arc<Mutex<Weather>>) -> Server {
    let base = Arc::new(OnceLock::<String>::new());
    let own = Arc::clone(&base);
    let server = Server::start(move |head, _| {
        let base = own.get().cloned().unwrap_or_default();
        weather.lock().unwrap().answer(head, &base)
    })
    .await;
    base.set(server.base.clone()).unwrap();
    server
}
