//! The reader's side of the words: their scale, the place's clock, the owner's names for circuits.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde_json::{Value, json};

use super::Context;
use super::phrases::{Phrases, Table};
use super::words::{
    age, dated_time, difference, list, name, one_line, short_time, temperature, temperature_range,
    to_five_minutes, zone_name,
};
use crate::domain::alert::chance::SpokenChance;
use crate::domain::alert::{AlertId, Low, RecordLine, System, Worse};
use crate::domain::boat::{CircuitId, Evidence, Holds};
use crate::domain::risk::{CircuitRisk, Consequence, Limit};
use crate::domain::units::TemperatureScale;
use crate::domain::weather::ForecastState;
use crate::domain::weather::credit;
use crate::domain::weather::fitted::FITTED_SERVICE;
use crate::domain::yard::Site;

/// Letters of a circuit's label, a place or a location in running text.
const LABEL_LETTERS: usize = 60;

/// Offsets of a place smaller than this are not worth a word, in kelvin.
const OFFSET_K: f64 = 0.25;

/// What the cold threatens, and whether there is time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scope {
    Block,
    SmallParts,
    Blend,
}

impl Scope {
    pub const fn key(self) -> &'static str {
        match self {
            Self::Block => "block",
            Self::SmallParts => "small_parts",
            Self::Blend => "blend",
        }
    }

    /// By the leading row, and by whether anything dear is near its threshold at all.
    pub fn of(rows: &[CircuitRisk]) -> Self {
        match rows.first() {
            Some(lead) if matches!(lead.holds, Holds::Blend | Holds::Coolant) => Self::Blend,
            _ if rows.iter().all(|row| row.consequence != Consequence::Severe) => Self::SmallParts,
            _ => Self::Block,
        }
    }
}

/// Numbers into words for one reader.
#[derive(Clone, Copy)]
pub(super) struct Voice<'a> {
    pub phrases: &'a Phrases,
    pub zone: Tz,
    pub scale: TemperatureScale,
    pub now: DateTime<Utc>,
    label: &'a dyn Fn(&CircuitId) -> String,
}

impl<'a> Voice<'a> {
    pub fn of(context: &Context<'a>, now: DateTime<Utc>) -> Self {
        Self {
            phrases: context.phrases,
            zone: context.site.time_zone,
            scale: context.person.units,
            now,
            label: context.label,
        }
    }

    pub fn word(&self, table: Table, key: &str) -> String {
        self.phrases.word(table, key)
    }

    pub fn part(&self, circuit: &CircuitId, instance: Option<&str>) -> String {
        let label = one_line(&(self.label)(circuit), LABEL_LETTERS);
        match instance {
            Some(instance) => format!("{label} ({})", one_line(instance, LABEL_LETTERS)),
            None => label,
        }
    }

    pub fn system(&self, system: &System) -> String {
        self.part(&system.circuit, system.instance.as_deref())
    }

    pub fn parts(&self, rows: &[CircuitRisk], most: usize) -> String {
        let labels: Vec<String> =
            rows.iter().map(|row| self.part(&row.circuit, row.instance.as_deref())).collect();
        list(&labels, most)
    }

    /// What can break, where that is not what the list calls the circuit: oil does not crack, its case does.
    pub fn breaks(&self, rows: &[CircuitRisk], most: usize) -> String {
        let mut labels: Vec<String> = rows
            .iter()
            .map(|row| {
                let named = self.phrases.breaks(row.circuit.as_str());
                named.unwrap_or_else(|| self.part(&row.circuit, row.instance.as_deref()))
            })
            .collect();
        labels.dedup();
        list(&labels, most)
    }

    pub fn time(&self, instant: DateTime<Utc>) -> String {
        dated_time(instant, self.zone)
    }

    /// The day of writing, at the place.
    pub fn today(&self) -> chrono::NaiveDate {
        self.now.with_timezone(&self.zone).date_naive()
    }

    pub fn day(&self, instant: DateTime<Utc>) -> String {
        super::words::day(instant, self.zone)
    }

    /// A latest start: told to five minutes, never later than it is.
    fn start(&self, instant: DateTime<Utc>) -> String {
        self.time(to_five_minutes(instant))
    }

    pub fn soon(&self, instant: DateTime<Utc>) -> String {
        short_time(instant, self.now, self.zone)
    }

    pub fn temperature(&self, celsius: f64) -> String {
        temperature(celsius, self.scale)
    }

    pub fn low_range(&self, low: &Low) -> String {
        temperature_range(low.p10_c, low.p90_c, self.scale)
    }

    /// What a place is to expect, for a list of places; nulls where it cannot be said.
    pub fn place(
        &self,
        site: &Site,
        low: Option<&Low>,
        issued: Option<DateTime<Utc>>,
        degraded: bool,
    ) -> Value {
        json!({
            "name": format!("{} {}", place_code(site), place_name(site)),
            "issued": issued.map(|issued| self.time(issued)),
            "low": low.map(|low| self.temperature(low.median_c)),
            "time": low.map(|low| self.soon(low.time)),
            "range": low.map(|low| self.low_range(low)),
            "degraded": degraded,
        })
    }

    pub fn event(&self, limit: Limit) -> String {
        let key = match limit {
            Limit::FirstIce => "first_ice",
            Limit::Slush => "slush",
            Limit::Burst => "burst",
        };
        self.word(Table::Event, key)
    }

    pub fn evidence(&self, holds: Holds, evidence: Evidence) -> Option<String> {
        let words = self.word(Table::Evidence, &key_of(&evidence));
        (holds != Holds::Unknown).then_some(words)
    }

    pub fn record(&self, line: &RecordLine) -> Value {
        json!({
            "part": self.system(&line.system),
            "holds": self.word(Table::Holds, &key_of(&line.holds)),
            "evidence": self.evidence(line.holds, line.evidence),
            "since": line.since.map(|since| format!("since {}", self.time(since))),
        })
    }

    /// One way of being worse, in words.
    pub fn change(&self, worse: &Worse) -> String {
        let say = |key: &str, swaps: &[(&str, String)]| {
            swaps.iter().fold(self.word(Table::Change, key), |text, (slot, value)| {
                text.replace(&format!("{{{slot}}}"), value)
            })
        };
        match worse {
            Worse::Priority { .. } => say("priority", &[]),
            Worse::LatestStart { from: Some(from), to } => {
                say("latest_start", &[("from", self.start(*from)), ("to", self.start(*to))])
            }
            Worse::LatestStart { from: None, to } => {
                say("latest_start_new", &[("to", self.start(*to))])
            }
            Worse::Low { from_c, to_c } => {
                say("low", &[("by", difference(from_c - to_c, self.scale))])
            }
            Worse::Chance { from, to } => say(
                "chance",
                &[
                    ("from", SpokenChance::of(*from).number()),
                    ("to", SpokenChance::of(*to).number()),
                ],
            ),
            Worse::StillOpen { planned: Some(planned) } => {
                say("still_open_planned", &[("to", self.time(*planned))])
            }
            Worse::StillOpen { planned: None } => say("still_open", &[]),
            Worse::Thaws { at } => say("thaws", &[("to", self.time(*at))]),
            Worse::Possible { parts } => {
                let labels: Vec<String> = parts.iter().map(|system| self.system(system)).collect();
                say("possible", &[("to", list(&labels, labels.len()))])
            }
            Worse::Systems { new } => {
                let labels: Vec<String> = new.iter().map(|system| self.system(system)).collect();
                say("systems", &[("to", list(&labels, labels.len()))])
            }
        }
    }

    /// The words of the basis line.
    pub fn basis(
        &self,
        service: &str,
        issued: Option<DateTime<Utc>>,
        forecast: ForecastState,
        site: &Site,
    ) -> Vec<(&'static str, Value)> {
        let offset = site.own_nights.map_or(site.night_offset_k, |_| site.clear_night_k());
        let side = if offset < 0.0 { "colder" } else { "milder" };
        let offset = (offset.abs() >= OFFSET_K)
            .then(|| format!("{} {side}", difference(offset, self.scale)));
        vec![
            ("service", json!(one_line(&credit::names([service]), LABEL_LETTERS))),
            ("credit", credit_words([service])),
            ("issued", json!(issued.map(|issued| self.time(issued)))),
            ("age", json!(issued.map(|issued| age(self.now - issued)))),
            ("degraded", json!(forecast == ForecastState::Degraded)),
            ("offset", json!(offset)),
            ("corrected", json!(is_corrected([service]))),
            ("zone", json!(zone_name(self.now, self.zone))),
        ]
    }
}

/// Are the errors of one of these services' forecasts fitted, and taken out? A reader who compares with what the service itself
/// shows must know.
pub(super) fn is_corrected<'a>(services: impl IntoIterator<Item = &'a str>) -> bool {
    services.into_iter().flat_map(|service| service.split('+')).any(|one| one == FITTED_SERVICE)
}

/// The credits that the licences of these services ask for, in one sentence; null where they ask for none.
pub(super) fn credit_words<'a>(services: impl IntoIterator<Item = &'a str>) -> Value {
    let credits = credit::credits(services);
    json!((!credits.is_empty()).then(|| credits.join("; ")))
}

/// A place's name for running text.
pub(super) fn place_name(site: &Site) -> String {
    let name = one_line(&site.name, LABEL_LETTERS);
    if name.is_empty() { site.id.to_string() } else { name }
}

/// An alert's id for people: it carries an id that somebody typed.
pub(super) fn alert_name(alert: &AlertId) -> String {
    one_line(alert.as_str(), LABEL_LETTERS)
}

/// A place's short name, as managers' lists use it.
pub(super) fn place_code(site: &Site) -> String {
    one_line(site.id.as_str(), 20)
}

/// A location inside a place, blank where none is given.
pub(super) fn location(text: &str) -> String {
    one_line(text, LABEL_LETTERS)
}

/// The duty telephone, as it follows "call the yard".
pub(super) fn phone(site: &Site) -> String {
    site.duty_phone
        .as_deref()
        .map_or_else(String::new, |phone| format!(" ({})", one_line(phone, 30)))
}

/// A boat's name in full and for subjects.
pub(super) fn boat_name(text: &str) -> String {
    name(text)
}

/// The serde name of a unit variant: the key of its word.
pub(super) fn key_of<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_value(value)
        .ok()
        .and_then(|value| value.as_str().map(str::to_owned))
        .unwrap_or_default()
}

/// Joins groups of words into one object.
pub(super) fn object(groups: Vec<Vec<(&'static str, Value)>>) -> Value {
    Value::Object(
        groups.into_iter().flatten().map(|(key, value)| (key.to_owned(), value)).collect(),
    )
}
