//! What the configuration says, as plain values: the adapter reads and checks the file.

pub mod crew;
pub mod import;
pub mod schedule;
pub mod season;
pub mod services;
pub mod text;
pub mod webhook;

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono_tz::Tz;
use serde::Deserialize;

use crate::domain::alert::AlertSettings;
use crate::domain::risk::judge::JudgeSettings;
use crate::domain::risk::timing::WorkingHours;
use crate::domain::weather::FreshnessLimits;

/// The whole configuration.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// The yard.
    pub yard: Yard,
    /// Where everything is kept.
    pub store: StoreSettings,
    /// The weather services.
    pub forecast: ForecastSettings,
    /// How chances are computed.
    #[serde(default)]
    pub judge: Judge,
    /// When people are told, and when not.
    #[serde(default)]
    pub alert: AlertSettings,
    /// Past seasons of the places.
    #[serde(default)]
    pub season: season::SeasonSettings,
    /// The crew and its calendar.
    #[serde(default)]
    pub crew: crew::CrewSettings,
    /// How messages leave.
    pub mail: Mail,
    /// Short texts.
    #[serde(default)]
    pub text: text::TextSettings,
    /// Signed notes to other programs, by name.
    #[serde(default)]
    pub webhook: BTreeMap<String, webhook::WebhookSettings>,
    /// How the yard's own spreadsheets are read.
    #[serde(default)]
    pub import: import::ImportSettings,
}

impl Settings {
    /// How rows are judged here.
    #[must_use]
    pub fn judge_settings(&self) -> JudgeSettings {
        let alert = &self.alert;
        JudgeSettings {
            on: [alert.minor.on, alert.major.on, alert.severe.on],
            horizon_h: usize::from(self.judge.horizon_h),
            working_hours: self.yard.working_hours(),
        }
    }
}

/// Who runs this, and when the day begins there.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Yard {
    /// Name that readers know; messages come from its "freeze desk".
    pub name: String,
    /// IANA zone in which schedules are meant.
    pub time_zone: Tz,
    /// When the manager's worklist goes out: five cron fields, weekdays by name.
    #[serde(default = "default_worklist")]
    pub worklist: String,
    /// Start and end of the hours in which people work, local, such as `"08:00"`.
    #[serde(default = "default_work_from")]
    pub work_from: chrono::NaiveTime,
    /// End of the working hours.
    #[serde(default = "default_work_to")]
    pub work_to: chrono::NaiveTime,
}

impl Yard {
    /// When people work here.
    #[must_use]
    pub const fn working_hours(&self) -> WorkingHours {
        WorkingHours { from: self.work_from, to: self.work_to }
    }
}

/// The embedded store.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoreSettings {
    /// The SQLite file.
    pub path: PathBuf,
    /// Forecasts older than this are removed, days, but for those that an alert rests on.
    #[serde(default = "default_keep_forecasts_days")]
    pub keep_forecasts_days: u16,
}

const fn learns() -> bool {
    true
}

/// Weather services.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ForecastSettings {
    /// Mail address or web page under which the services can reach you; they ask for it.
    pub contact: String,
    /// Age limits.
    #[serde(default)]
    pub limits: FreshnessLimits,
    /// Let the readings of the places' own thermometers change their offsets?
    #[serde(default = "learns")]
    pub learn: bool,
    /// Only nights up to this day teach: what was learned by then stays as it is.
    #[serde(default)]
    pub learn_until: Option<chrono::NaiveDate>,
    /// Which services are asked, in order of trust: all of them, so that one is there when another fails.
    #[serde(default = "services::ServiceName::usual")]
    pub services: Vec<services::ServiceName>,
    /// The US National Weather Service.
    #[serde(default)]
    pub nws: Nws,
    /// MET Norway.
    #[serde(default)]
    pub met_norway: services::MetNorway,
    /// Open-Meteo.
    #[serde(default)]
    pub open_meteo: services::OpenMeteo,
    /// German weather service.
    #[serde(default)]
    pub mosmix: services::Mosmix,
}

/// The US National Weather Service.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Nws {
    /// Ask it at all?
    pub enabled: bool,
    /// Base address.
    pub base: String,
}

impl Default for Nws {
    fn default() -> Self {
        Self { enabled: true, base: "https://api.weather.gov".into() }
    }
}

/// How chances are computed.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Judge {
    /// Weather paths drawn for each place.
    pub members: usize,
    /// Seed of the draw: the same seed gives the same chances.
    pub seed: u64,
    /// Hours ahead for which chances are stated to programs (`worklist --json`).
    pub horizon_h: u16,
    /// People are told of what comes within so many hours, in letters and on the worklist; no fewer than `horizon_h`.
    pub ahead_h: u16,
    /// Days of past hours from which the state of each part at the start is computed.
    pub past_days: u16,
}

impl Default for Judge {
    fn default() -> Self {
        Self { members: 256, seed: 20_221_001, horizon_h: 72, ahead_h: 96, past_days: 40 }
    }
}

impl Judge {
    /// Hours that people are told of.
    #[must_use]
    pub const fn told_h(&self) -> u16 {
        if self.ahead_h > self.horizon_h { self.ahead_h } else { self.horizon_h }
    }
}

/// How messages leave.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mail {
    /// Sender address of everything.
    pub from: String,
    /// Write into this Maildir instead of sending.
    pub maildir: Option<PathBuf>,
    /// Send through this relay.
    pub smtp: Option<Smtp>,
    /// Maildir into which the relay puts what comes back: bounces and answers. Letters ask for answers only where it is set.
    pub inbox: Option<PathBuf>,
    /// File with the key that Message-IDs are made from (any bytes, 16 or more); a fixed one for trials if absent.
    pub id_key_file: Option<PathBuf>,
    /// The yard's own words: a TOML table that holds what it changes of the phrase catalogue.
    pub phrases: Option<PathBuf>,
}

/// A mail relay.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Smtp {
    /// Host name or address.
    pub host: String,
    /// Port: 465 for implicit TLS, 587 for STARTTLS.
    pub port: u16,
    /// How the connection is protected.
    #[serde(default)]
    pub security: Security,
    /// Name to log in with.
    pub user: Option<String>,
    /// File that holds the password.
    pub password_file: Option<PathBuf>,
    /// Extra certificate authority in PEM, for a relay of your own.
    pub ca_file: Option<PathBuf>,
}

/// How a connection to the relay is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Security {
    /// TLS from the first byte.
    #[default]
    Tls,
    /// STARTTLS, required.
    Starttls,
    /// None: only to an address of this machine.
    PlaintextLoopback,
}

const fn default_keep_forecasts_days() -> u16 {
    800
}

fn default_worklist() -> String {
    "30 6 * * MON-FRI".into()
}

fn default_work_from() -> chrono::NaiveTime {
    chrono::NaiveTime::from_hms_opt(8, 0, 0).unwrap_or_default()
}

fn default_work_to() -> chrono::NaiveTime {
    chrono::NaiveTime::from_hms_opt(17, 0, 0).unwrap_or_default()
}
