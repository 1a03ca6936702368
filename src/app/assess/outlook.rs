//! The outlook of a place: the newest issue of each configured service that is recent enough, combined; and how far it
//! can be relied on. What each service was worth at the time is read from what was fetched by then.

use std::sync::{Arc, LazyLock};

use crate::app::assess::forecast_cache::WeatherMemory;
use crate::app::assess::seen::AsOf;
use crate::app::error::ServiceError;
use crate::app::ports::ForecastStore;
use crate::app::ports::{FetchState, Service, StateDocuments as _};
use crate::app::settings::ForecastSettings;
use crate::app::settings::services::ServiceName;
use crate::domain::boat::SiteId;
use crate::domain::weather::error_table::ErrorTable;
use crate::domain::weather::freshness::Standing;
use crate::domain::weather::outlook::brief::Brief;
use crate::domain::weather::outlook::spread::{HourError, fitted_errors};
use crate::domain::weather::outlook::{HEIGHT_APART_M_MIN, Source, Spot, combine};
use crate::domain::weather::{Forecast, ForecastState};
use crate::domain::yard::Site;

/// The fitted errors are compiled in and read once; a damaged table would leave the default model.
static TABLE: LazyLock<Option<ErrorTable>> = LazyLock::new(|| ErrorTable::built_in().ok());

/// The services that are asked, in order of trust.
#[must_use]
pub fn services(forecast: &ForecastSettings) -> Vec<Service> {
    let meteo = forecast.open_meteo.is_allowed();
    let asked = forecast.services.iter().filter_map(|name| match name {
        ServiceName::Nws => forecast.nws.enabled.then_some(Service::NwsGridpoint),
        ServiceName::MetNorway => Some(Service::MetNorway),
        ServiceName::OpenMeteo => meteo.then_some(Service::OpenMeteo),
        ServiceName::OpenMeteoEnsemble => meteo.then_some(Service::OpenMeteoEnsemble),
        ServiceName::Mosmix => Some(Service::Mosmix),
    });
    asked.collect()
}

/// One service's newest issue of a place, and how it stands.
struct Newest {
    service: Service,
    forecast: Option<Arc<Forecast>>,
    /// The issues before it.
    earlier: Vec<Brief>,
    standing: Standing,
    refused: bool,
}

/// What is asked for an outlook: the issues that are kept, what was read of them, and which services count.
#[derive(Clone, Copy)]
pub struct Forecasts<'a> {
    /// What was fetched.
    pub store: &'a dyn ForecastStore,
    /// What was read of it; one's own for who goes through many instants, so that that of the rounds stays as it is.
    pub memory: &'a WeatherMemory,
    /// Services, their limits of age, and whether thermometers teach.
    pub settings: &'a ForecastSettings,
}

/// The outlook of a place at the instant and how far it can be relied on; the newest issue there is, where none is
/// recent enough to be believed.
///
/// # Errors
/// The store's.
pub fn outlook_of(
    forecasts: Forecasts<'_>,
    site: &Site,
    instant: AsOf,
) -> Result<(Option<Arc<Forecast>>, ForecastState), ServiceError> {
    let all = newest(forecasts, &site.id, instant)?;
    let limits = forecasts.settings.limits;
    let state = state_of(forecasts.settings, &all, instant);
    let spot =
        Spot { latitude: site.latitude, longitude: site.longitude, elevation_m: site.elevation_m };
    let usable: Vec<(&Newest, &Arc<Forecast>)> = all
        .iter()
        .filter(|one| limits.state(&one.standing, instant.at) != ForecastState::Blind)
        .filter_map(|one| Some((one, one.forecast.as_ref()?)))
        .collect();
    if usable.is_empty() {
        let forecasts = all.into_iter().filter_map(|one| one.forecast);
        return Ok((forecasts.max_by_key(|forecast| forecast.issued_at), state));
    }
    let errors: Vec<Vec<HourError>> = usable
        .iter()
        .map(|(one, forecast)| match (one.service, TABLE.as_ref()) {
            // The table was fitted on this service's lows and highs.
            (Service::NwsGridpoint, Some(table)) => {
                fitted_errors(table, (forecast, &one.earlier), spot)
            }
            _ => Vec::new(),
        })
        .collect();
    let sources: Vec<Source<'_>> = usable
        .iter()
        .zip(&errors)
        .map(|((one, forecast), fitted)| Source {
            forecast,
            height_corrected: one.service.corrects_height() && is_for_height(forecast, site),
            fitted,
        })
        .collect();
    Ok((combine(&sources, spot, instant.at).map(Arc::new), state))
}

/// Does the answer say that it is for the height that was asked for, or nothing of it? One that echoes another height was not
/// brought to ours.
fn is_for_height(forecast: &Forecast, site: &Site) -> bool {
    forecast.cell_elevation_m.is_none_or(|m| (m - site.elevation_m).abs() < HEIGHT_APART_M_MIN)
}

/// Only how far the place's outlook can be relied on, and when its newest issue was made: what a round looks at first.
///
/// # Errors
/// The store's.
pub fn standing_of(
    forecasts: Forecasts<'_>,
    site: &SiteId,
    instant: AsOf,
) -> Result<(Option<Arc<Forecast>>, ForecastState), ServiceError> {
    let all = newest(forecasts, site, instant)?;
    let state = state_of(forecasts.settings, &all, instant);
    let forecasts = all.into_iter().filter_map(|one| one.forecast);
    Ok((forecasts.max_by_key(|forecast| forecast.issued_at), state))
}

/// How each configured service stands for a place.
///
/// # Errors
/// The store's.
pub fn standings_of(
    forecasts: Forecasts<'_>,
    site: &SiteId,
    instant: AsOf,
) -> Result<Vec<Standing>, ServiceError> {
    Ok(newest(forecasts, site, instant)?.into_iter().map(|one| one.standing).collect())
}

/// The best of what the services allow; blind where every one of them refuses.
fn state_of(settings: &ForecastSettings, all: &[Newest], instant: AsOf) -> ForecastState {
    let limits = settings.limits;
    if !all.is_empty() && all.iter().all(|one| one.refused) {
        return ForecastState::Blind;
    }
    let states = all.iter().map(|one| limits.state(&one.standing, instant.at));
    states.min().unwrap_or(ForecastState::Blind)
}

fn newest(
    forecasts: Forecasts<'_>,
    site: &SiteId,
    instant: AsOf,
) -> Result<Vec<Newest>, ServiceError> {
    let Forecasts { store, memory, settings } = forecasts;
    let mut all = Vec::new();
    for service in services(settings) {
        let name = service.name();
        let forecast = memory.newest_of(store, site, Some(name), instant.known_at)?;
        let earlier = match service {
            // Only this one's errors are fitted.
            Service::NwsGridpoint => memory.earlier(store, site, name, instant.known_at)?,
            _ => Vec::new(),
        };
        let fetching = store.fetch_state::<FetchState>(name, site)?;
        // Asked about the past: what we knew then had answered then.
        let answered = fetching.as_ref().and_then(|f| f.last_answer);
        let answered = answered.map(|at| at.min(instant.known_at));
        let refused = fetching.is_some_and(|f| f.document.refused);
        let standing = Standing::of(forecast.as_deref(), answered);
        all.push(Newest { service, forecast, earlier, standing, refused });
    }
    Ok(all)
}
