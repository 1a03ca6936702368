//! The configuration file: TOML, read whole, checked whole; every problem is reported in one go with line and remedy.
//!
//! Secrets never stand in it: keys ending in `_file` name the files that hold them.

pub mod check;
pub mod import;
pub mod crew;
mod every;
pub mod schedule;
pub mod season;
pub mod services;
pub mod text;
pub mod webhook;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use serde::Deserialize;
use thiserror::Error;

use crate::domain::alert::AlertSettings;
use crate::domain::weather::FreshnessLimits;

/// A configuration that cannot be used.
#[derive(Debug, Error)]
pub enum SettingsError {
    /// The file could not be read.
    #[error("cannot read the configuration {path}: {source}; name another with --config FILE")]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// It is not what the keys ask for.
    #[error("the configuration {path} cannot be used:\n{}", problems.join("\n"))]
    Invalid {
        /// Which file.
        path: PathBuf,
        /// One line each: where, what, and what would be right.
        problems: Vec<String>,
    },
}

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

impl Settings {
    /// Reads and checks the file; relative paths in it are meant from its own folder.
    ///
    /// # Errors
    /// [`SettingsError`] with every problem, each with its line where there is one.
    pub fn load(path: &Path) -> Result<Self, SettingsError> {
        Self::parse(&text_of(path)?, folder_of(path))
            .map_err(|problems| SettingsError::Invalid { path: path.into(), problems })
    }

    /// Parses and checks `text`; relative paths are meant from `folder`.
    ///
    /// # Errors
    /// One line for each problem.
    pub fn parse(text: &str, folder: &Path) -> Result<Self, Vec<String>> {
        match Self::read(text, folder) {
            (Some(settings), problems) if problems.is_empty() => Ok(settings),
            (_, mut problems) => {
                problems.sort_by_key(|problem| every::line_number(problem));
                Err(problems)
            }
        }
    }

    /// Every problem of the file at `path` by line, and of the files that it names as far as `named` sees them: both in one
    /// go, where the text can be read as a configuration at all.
    ///
    /// # Errors
    /// [`SettingsError::Unreadable`].
    pub fn problems_of(
        path: &Path,
        named: impl Fn(&Self) -> Vec<String>,
    ) -> Result<Vec<String>, SettingsError> {
        let text = text_of(path)?;
        let (settings, mut problems) = Self::read(&text, folder_of(path));
        for problem in settings.iter().flat_map(named) {
            // A key with a wrong value stands in for itself: its default is not the reader's.
            let key = problem.split(':').next().unwrap_or_default();
            if !problems.iter().any(|known| known.contains(key)) {
                problems.push(every::with_line(&text, &problem));
            }
        }
        problems.sort_by_key(|problem| every::line_number(problem));
        Ok(problems)
    }

    /// What can be read, keys with wrong values left at their defaults, and what is wrong.
    fn read(text: &str, folder: &Path) -> (Option<Self>, Vec<String>) {
        let (mut settings, mut problems) = every::read(text);
        let beyond = settings.iter().flat_map(check::problems);
        problems.extend(beyond.map(|problem| every::with_line(text, &problem)));
        if let Some(settings) = &mut settings {
            settings.resolve(folder);
        }
        (settings, problems)
    }

    fn resolve(&mut self, folder: &Path) {
        let here = |path: &mut PathBuf| {
            if path.is_relative() {
                *path = folder.join(&*path);
            }
        };
        here(&mut self.store.path);
        let mail = &mut self.mail;
        let files = [&mut mail.maildir, &mut mail.inbox, &mut mail.id_key_file, &mut mail.phrases];
        for path in files.into_iter().flatten() {
            here(path);
        }
        self.season.archives.values_mut().for_each(here);
        for hook in self.webhook.values_mut() {
            here(&mut hook.secret_file);
            hook.previous_secret_file.iter_mut().for_each(here);
        }
        if let Some(key) = &mut self.forecast.open_meteo.key_file {
            here(key);
        }
        if let Some(smtp) = &mut self.mail.smtp {
            for path in [&mut smtp.password_file, &mut smtp.ca_file].into_iter().flatten() {
                here(path);
            }
        }
    }
}

fn text_of(path: &Path) -> Result<String, SettingsError> {
    std::fs::read_to_string(path)
        .map_err(|source| SettingsError::Unreadable { path: path.into(), source })
}

/// From where relative paths in the file at `path` are meant.
fn folder_of(path: &Path) -> &Path {
    path.parent().unwrap_or(Path::new("."))
}
