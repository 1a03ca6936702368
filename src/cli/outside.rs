//! What the commands need to know of the outside: environment, configuration, the present.

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono::{DateTime, Utc};

use super::outcome::CliError;
use super::time::parse_time;
use crate::adapters::settings::Settings;
use crate::adapters::sqlite::Options;
use crate::app::assess::AsOf;
use crate::app::context::AppContext;

/// The environment as it came in.
pub type Environment = BTreeMap<String, String>;

/// What the commands need to know of the outside.
#[derive(Debug)]
pub struct CliContext<'a> {
    pub(super) environment: &'a Environment,
    pub(super) config: Option<PathBuf>,
    /// The present.
    pub now: DateTime<Utc>,
    /// A JSON document is wanted.
    pub json: bool,
}

impl CliContext<'_> {
    /// The configuration file that counts.
    #[must_use]
    pub fn config_path(&self) -> PathBuf {
        if let Some(path) = &self.config {
            return path.clone();
        }
        if let Some(path) = self.environment.get("RIMEWARD_CONFIG") {
            return PathBuf::from(path);
        }
        let installed = PathBuf::from("/etc/rimeward/rimeward.toml");
        if installed.exists() { installed } else { PathBuf::from("config/rimeward.toml") }
    }

    /// A working service by that configuration.
    ///
    /// # Errors
    /// [`CliError`] with the problems of the configuration, or with what keeps the store from opening.
    pub fn house(&self) -> Result<AppContext, CliError> {
        let settings = Settings::load(&self.config_path())?;
        Ok(AppContext::open(settings, Options::default())?)
    }

    /// A time from the command line, in `zone` unless it has an offset; now where none is given.
    ///
    /// # Errors
    /// As [`parse_time`].
    pub fn time_or_now(
        &self,
        text: Option<&str>,
        zone: chrono_tz::Tz,
    ) -> Result<DateTime<Utc>, CliError> {
        text.map_or(Ok(self.now), |text| parse_time(text, zone))
    }

    /// The instant of `--at` and `--known-at`: now, and as known at that time, where they are not given.
    ///
    /// # Errors
    /// As [`parse_time`].
    pub fn instant(
        &self,
        (at, known_at): (Option<&str>, Option<&str>),
        zone: chrono_tz::Tz,
    ) -> Result<AsOf, CliError> {
        let at = self.time_or_now(at, zone)?;
        let known_at = known_at.map_or(Ok(at), |text| parse_time(text, zone))?;
        Ok(AsOf { at, known_at })
    }
}

/// The runtime for what waits on the network.
///
/// # Errors
/// [`CliError`] when the machine gives no threads.
pub fn runtime() -> Result<tokio::runtime::Runtime, CliError> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| CliError::failed(format!("starting the runtime: {error}")))
}
