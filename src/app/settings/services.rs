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
