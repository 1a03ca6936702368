//! How the services are asked that answer a place with one document: the address, and what to make of the answer.

use chrono::{DateTime, Utc};

use super::cache::good_for_s;
use super::http::{self, Http, keep_validators};
use super::service::Options;
use super::state::{Answer, Refusal, weigh};
use crate::adapters::weather::met_norway::parse_met_norway;
use crate::adapters::weather::mosmix::{STATION_APART_DEG_MAX, parse_mosmix};
use crate::adapters::weather::open_meteo::{ENSEMBLE, FORECAST, parse_open_meteo};
use crate::adapters::weather::{Context, PayloadError, Place};
use crate::app::ports::Service;
use crate::app::ports::{FetchState, Outcome};
use crate::domain::weather::Forecast;

/// Days that Open-Meteo is asked for: paths are drawn for ten.
const DAYS: u32 = 10;

/// One question.
pub(super) struct Ask<'a> {
    pub service: Service,
    pub options: &'a Options,
    pub place: Place,
    pub elevation_m: Option<f64>,
}

impl Ask<'_> {
    /// One request.
    pub async fn fetch(
        &self,
        http: &Http,
        stored_issue: Option<DateTime<Utc>>,
        state: &mut FetchState,
        now: DateTime<Utc>,
    ) -> Result<Answer, Refusal> {
        let path = self.path()?;
        let url = http.at(&path).ok_or_else(|| {
            Refusal::new(Outcome::Malformed { why: "the address is not one".into() })
        })?;
        let known = stored_issue.map(|_| state.clone());
        let accept = match self.service {
            Service::Mosmix => "application/vnd.google-earth.kmz",
            _ => "application/json",
        };
        let reply = http
            .get(url, &http::Ask { accept, known: known.as_ref(), other_agent: false }, now)
            .await?;
        let good_for_s = good_for_s(&reply.headers, now);
        let Some(body) = reply.body else {
            return Ok(Answer { outcome: Outcome::NotModified, good_for_s });
        };
        let read = self.read(&body, now).inspect_err(|why| http.set_aside(why, &body));
        let forecast = read.map_err(|why| match why {
            // An error document under status 200 passes; another place does not.
            PayloadError::WrongPlace { .. } => {
                Refusal::new(Outcome::Permanent { why: why.to_string() })
            }
            _ => Refusal::new(Outcome::Malformed { why: why.to_string() }),
        })?;
        let outcome = weigh(forecast, body.len(), stored_issue, now);
        if matches!(outcome, Outcome::Fresh(..) | Outcome::NotModified) {
            keep_validators(state, &reply.headers);
        }
        Ok(Answer { outcome, good_for_s })
    }

    fn read(&self, body: &[u8], now: DateTime<Utc>) -> Result<Forecast, PayloadError> {
        let context = Context { place: Some(self.place), now: Some(now) };
        match self.service {
            Service::MetNorway => parse_met_norway(body, &context),
            Service::Mosmix => parse_mosmix(body, &context),
            Service::OpenMeteoEnsemble => parse_open_meteo(ENSEMBLE, body, &context),
            Service::OpenMeteo | Service::NwsGridpoint => {
                parse_open_meteo(FORECAST, body, &context)
            }
        }
    }

    fn path(&self) -> Result<String, Refusal> {
        let (north, east) = hundredths(self.place);
        let height =
            |name: &str| self.elevation_m.map_or_else(String::new, |m| format!("&{name}={m:.0}"));
        let key = self.options.api_key.as_deref();
        let key = key.map_or_else(String::new, |key| format!("&apikey={key}"));
        Ok(match self.service {
            Service::MetNorway => format!(
                "/weatherapi/locationforecast/2.0/complete?lat={north}&lon={east}{}",
                height("altitude")
            ),
            Service::OpenMeteoEnsemble => format!(
                "/v1/ensemble?latitude={north}&longitude={east}{}&hourly=temperature_2m&models={}\
                 &forecast_days={DAYS}&timezone=GMT&temperature_unit=celsius{key}",
                height("elevation"),
                self.options.models
            ),
            Service::Mosmix => {
                let station = station(self.options, self.place).ok_or_else(|| {
                    let why = format!(
                        "no station of forecast.mosmix.stations lies within {STATION_APART_DEG_MAX} degrees of {}",
                        self.place
                    );
                    Refusal::new(Outcome::Permanent { why })
                })?;
                format!(
                    "/weather/local_forecasts/mos/MOSMIX_L/single_stations/{station}/kml/MOSMIX_L_LATEST_{station}.kmz"
                )
            }
            Service::OpenMeteo | Service::NwsGridpoint => format!(
                "/v1/forecast?latitude={north}&longitude={east}{}\
                 &hourly=temperature_2m,dew_point_2m,wind_speed_10m,cloud_cover,\
                 precipitation,snowfall&wind_speed_unit=ms&temperature_unit=celsius&timezone=GMT&forecast_days={DAYS}{key}",
                height("elevation")
            ),
        })
    }
}

/// Latitude and longitude to a hundredth of a degree, about a kilometre: finer than any of these services' cells, and
/// the same address for places side by side.
pub(super) fn hundredths(place: Place) -> (String, String) {
    let cut = |degrees: f64| {
        let text = format!("{degrees:.2}");
        let short = text.trim_end_matches('0').trim_end_matches('.').to_owned();
        if short == "-0" { "0".to_owned() } else { short }
    };
    (cut(place.latitude()), cut(place.longitude()))
}

/// What two places with one answer have in common.
pub(super) fn rounded(place: Place, elevation_m: Option<f64>) -> String {
    let (north, east) = hundredths(place);
    elevation_m.map_or_else(|| format!("{north},{east}"), |m| format!("{north},{east},{m:.0}"))
}

/// The configured station nearest to a place, if one is near enough.
pub(super) fn station(options: &Options, place: Place) -> Option<&str> {
    let apart = |at: &Place| {
        let east = (at.longitude() - place.longitude()).abs();
        (at.latitude() - place.latitude()).abs().max(east.min(360.0 - east))
    };
    let near = options.stations.iter().filter(|(_, at)| apart(at) <= STATION_APART_DEG_MAX);
    near.min_by(|a, b| apart(&a.1).total_cmp(&apart(&b.1))).map(|(name, _)| name.as_str())
}
