//! From the configuration to the clients of the weather services.

use std::path::PathBuf;
use std::time::Duration;

use thiserror::Error;

use crate::adapters::weather::Place;
use crate::adapters::weather::client::{Client, ClientSettings, Clients, Options, Service};
use crate::app::assess::outlook::services;
use crate::app::context::ServiceError;
use crate::app::settings::ForecastSettings;

/// Deadline of one call to a weather service.
const CALL_DEADLINE: Duration = Duration::from_secs(30);
/// Ensembles are large, and asking anew keeps the old request's place in the queue.
const ENSEMBLE_DEADLINE: Duration = Duration::from_secs(60);
/// Longest key that is read, in bytes.
const KEY_BYTES_MAX: usize = 500;

/// Why the key of a paid plan is not used.
#[derive(Debug, Error)]
pub enum KeyError {
    /// The file cannot be read.
    #[error("forecast.open_meteo.key_file {}: {source}", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Something else stands in it.
    #[error("forecast.open_meteo.key_file {}: holds no key of letters and digits", .path.display())]
    NoKey {
        /// The file.
        path: PathBuf,
    },
}

impl From<KeyError> for ServiceError {
    fn from(error: KeyError) -> Self {
        Self::Outside(Box::new(error))
    }
}

/// Makes the clients; `None` where nothing is asked.
///
/// # Errors
/// [`ServiceError`]: address, contact or key.
pub fn clients(forecast: &ForecastSettings) -> Result<Option<Clients>, ServiceError> {
    let mut all = Vec::new();
    for service in services(forecast) {
        let base = match service {
            Service::NwsGridpoint => &forecast.nws.base,
            Service::MetNorway => &forecast.met_norway.base,
            Service::OpenMeteo => &forecast.open_meteo.base,
            Service::OpenMeteoEnsemble => &forecast.open_meteo.ensemble_base,
            Service::Mosmix => &forecast.mosmix.base,
        };
        let deadline = match service {
            Service::OpenMeteoEnsemble => ENSEMBLE_DEADLINE,
            _ => CALL_DEADLINE,
        };
        let contact = forecast.contact.clone();
        let settings = ClientSettings { base: base.clone(), contact, deadline };
        let is_meteo = matches!(service, Service::OpenMeteo | Service::OpenMeteoEnsemble);
        let options = Options {
            api_key: if is_meteo { key(forecast)? } else { None },
            models: forecast.open_meteo.models.clone(),
            stations: forecast
                .mosmix
                .stations
                .iter()
                .filter_map(|s| Some((s.id.clone(), Place::new(s.latitude, s.longitude).ok()?)))
                .collect(),
        };
        all.push(Client::with(service, &settings, options)?);
    }
    Ok((!all.is_empty()).then_some(Clients(all)))
}

/// The client of Open-Meteo's archive of past days; the caller sees to it that its use is allowed.
///
/// # Errors
/// [`ServiceError`]: address, contact or key.
pub fn archive_client(forecast: &ForecastSettings) -> Result<Client, ServiceError> {
    let base = forecast.open_meteo.archive_base.clone();
    let contact = forecast.contact.clone();
    // Years of days take the service a while, and asking anew keeps the old request's place in its queue.
    let settings = ClientSettings { base, contact, deadline: ENSEMBLE_DEADLINE };
    let options = Options { api_key: key(forecast)?, ..Options::default() };
    Ok(Client::with(Service::OpenMeteo, &settings, options)?)
}

fn key(forecast: &ForecastSettings) -> Result<Option<String>, KeyError> {
    let Some(path) = &forecast.open_meteo.key_file else { return Ok(None) };
    let text = std::fs::read_to_string(path)
        .map_err(|source| KeyError::Unreadable { path: path.clone(), source })?;
    let key = text.trim();
    if key.is_empty()
        || key.len() > KEY_BYTES_MAX
        || !key.bytes().all(|b| b.is_ascii_alphanumeric())
    {
        return Err(KeyError::NoKey { path: path.clone() });
    }
    Ok(Some(key.to_owned()))
}
