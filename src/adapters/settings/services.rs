//! The weather services' part of the configuration: which are asked, in which order, and what each needs.

use std::path::PathBuf;

use serde::Deserialize;

/// A service by its short name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ServiceName {
    /// US National Weather Service.
    Nws,
    /// MET Norway.
    MetNorway,
    /// Open-Meteo's point forecast.
    OpenMeteo,
    /// Open-Meteo's ensemble.
    OpenMeteoEnsemble,
    /// German weather service.
    Mosmix,
}

impl ServiceName {
    /// What is asked where nothing is configured.
    #[must_use]
    pub fn usual() -> Vec<Self> {
        vec![Self::Nws]
    }
}

/// MET Norway.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct MetNorway {
    /// Base address.
    pub base: String,
}

impl Default for MetNorway {
    fn default() -> Self {
        Self { base: "https://api.met.no".into() }
    }
}

/// For what Open-Meteo is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Use {
    /// No subscriptions, no advertising, no business.
    Noncommercial,
}

/// Open-Meteo. Off until its use is stated or a key is there.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct OpenMeteo {
    /// The free tier is for non-commercial use only: saying so is the owner's to do.
    #[serde(rename = "use")]
    pub purpose: Option<Use>,
    /// File that holds the key of a paid plan.
    pub key_file: Option<PathBuf>,
    /// Base address of the forecast.
    pub base: String,
    /// Base address of the ensemble.
    pub ensemble_base: String,
    /// Base address of the archive of past days.
    pub archive_base: String,
    /// Ensemble models, separated by commas.
    pub models: String,
}

impl Default for OpenMeteo {
    fn default() -> Self {
        Self {
            purpose: None,
            key_file: None,
            base: "https://api.open-meteo.com".into(),
            ensemble_base: "https://ensemble-api.open-meteo.com".into(),
            archive_base: "https://archive-api.open-meteo.com".into(),
            models: "ecmwf_ifs025,icon_seamless".into(),
        }
    }
}

impl OpenMeteo {
    /// May it be asked?
    #[must_use]
    pub const fn is_allowed(&self) -> bool {
        self.purpose.is_some() || self.key_file.is_some()
    }
}

/// A named station.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Station {
    /// Its identifier in the station catalogue.
    pub id: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
}

/// German weather service.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Mosmix {
    /// Base address.
    pub base: String,
    /// Stations near your places.
    pub stations: Vec<Station>,
}

impl Default for Mosmix {
    fn default() -> Self {
        Self { base: "https://opendata.dwd.de".into(), stations: Vec::new() }
    }
}

/// What is wrong with the services, one line each. `is_web` tells whether an address may be used.
pub(super) fn problems(
    forecast: &super::ForecastSettings,
    is_web: impl Fn(&str) -> bool,
) -> Vec<String> {
    let mut found = Vec::new();
    let asks = |name: ServiceName| forecast.services.contains(&name);
    if forecast.services.is_empty() {
        found.push("forecast.services is empty: name at least one, such as \"nws\"".into());
    }
    for (at, name) in forecast.services.iter().enumerate() {
        if forecast.services.iter().take(at).any(|earlier| earlier == name) {
            found.push(format!("forecast.services names {name:?} twice"));
        }
    }
    if asks(ServiceName::Nws) && !forecast.nws.enabled && forecast.services.len() == 1 {
        found.push("forecast: no service is enabled; set forecast.nws.enabled = true".into());
    }
    let mut address = |key: &str, base: &str| {
        if !is_web(base) {
            found.push(format!(
                "{key} = {base:?}: must begin with https:// (http:// only to this machine)"
            ));
        } else if base.split_once("://").is_some_and(|(_, rest)| {
            rest.trim_end_matches('/').is_empty()
                || rest.trim_end_matches('/').contains(['/', '?', '#', '@', ' '])
                || rest.ends_with("//")
        }) {
            found.push(format!(
                "{key} = {base:?}: must be an address without a path, such as https://api.weather.gov"
            ));
        }
    };
    if asks(ServiceName::Nws) {
        address("forecast.nws.base", &forecast.nws.base);
    }
    if asks(ServiceName::MetNorway) {
        address("forecast.met_norway.base", &forecast.met_norway.base);
    }
    let meteo = &forecast.open_meteo;
    let asks_meteo = asks(ServiceName::OpenMeteo) || asks(ServiceName::OpenMeteoEnsemble);
    if asks_meteo {
        address("forecast.open_meteo.base", &meteo.base);
        address("forecast.open_meteo.ensemble_base", &meteo.ensemble_base);
    }
    if meteo.is_allowed() {
        address("forecast.open_meteo.archive_base", &meteo.archive_base);
    }
    if asks(ServiceName::Mosmix) {
        address("forecast.mosmix.base", &forecast.mosmix.base);
    }
    if asks_meteo && !meteo.is_allowed() {
        found.push(
            "forecast.services names open-meteo, whose free tier is for non-commercial use only: set \
             forecast.open_meteo.use = \"noncommercial\" if that is so, or forecast.open_meteo.key_file for a paid \
             plan, or take it out"
                .into(),
        );
    }
    let plain = |text: &str| {
        !text.is_empty()
            && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b',')
    };
    if asks(ServiceName::OpenMeteoEnsemble) && !plain(&meteo.models) {
        found.push(format!(
            "forecast.open_meteo.models = {:?}: names with commas between",
            meteo.models
        ));
    }
    if asks(ServiceName::Mosmix) && forecast.mosmix.stations.is_empty() {
        found.push(
            "forecast.services names mosmix, which knows named stations only: add \
             [[forecast.mosmix.stations]] with id, latitude and longitude"
                .into(),
        );
    }
    for station in &forecast.mosmix.stations {
        let is_place = (-90.0..=90.0).contains(&station.latitude)
            && (-180.0..=180.0).contains(&station.longitude);
        if !is_place || !plain(&station.id) {
            found.push(format!(
                "forecast.mosmix.stations: {:?} is no station id with a place",
                station.id
            ));
        }
    }
    found
}
