//! Is what the configuration says of the weather services right?

use crate::app::settings::ForecastSettings;
use crate::app::settings::services::ServiceName;

/// What is wrong with the services, one line each. `is_web` tells whether an address may be used.
pub(super) fn problems(forecast: &ForecastSettings, is_web: impl Fn(&str) -> bool) -> Vec<String> {
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
