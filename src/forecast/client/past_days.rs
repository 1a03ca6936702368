//! Lows and highs of past days, asked for once and kept by the caller in a file.

use chrono::{DateTime, NaiveDate, Utc};

use super::state::Outcome;
use super::{Client, http, polled};
use crate::domain::weather::seasons::Day;
use crate::forecast::open_meteo::parse_open_meteo_days;
use crate::forecast::{Context, Place};

impl Client {
    /// The days from `from` to `to` at a place, of a client whose base is that of Open-Meteo's archive.
    ///
    /// Days are cut at midnight GMT: the service has one offset for the whole of a series, which would be wrong for half of
    /// the year. A night of the Americas lies within such a day.
    ///
    /// # Errors
    /// In words, for people: the service's refusal, or why its answer cannot serve.
    pub async fn past_days(
        &self,
        (place, elevation_m): (Place, f64),
        (from, to): (NaiveDate, NaiveDate),
        now: DateTime<Utc>,
    ) -> Result<Vec<Day>, String> {
        let (north, east) = polled::hundredths(place);
        let key = self.options.api_key.as_deref();
        let key = key.map_or_else(String::new, |key| format!("&apikey={key}"));
        let path = format!(
            "/v1/archive?latitude={north}&longitude={east}&elevation={elevation_m:.0}\
             &start_date={from}&end_date={to}&daily=temperature_2m_min,temperature_2m_max\
             &temperature_unit=celsius&timezone=GMT{key}"
        );
        let url = self.http.at(&path).ok_or("the address of the archive is not one")?;
        let ask = http::Ask { accept: "application/json", known: None, other_agent: false };
        let reply = self.http.get(url, &ask, now).await.map_err(|r| words(r.outcome))?;
        let body = reply.body.ok_or("the archive answered without a document")?;
        let context = Context { place: Some(place), now: Some(now) };
        parse_open_meteo_days(&body, &context).map_err(|why| why.to_string())
    }
}

fn words(outcome: Outcome) -> String {
    match outcome {
        Outcome::Transient { why }
        | Outcome::Blocked { why }
        | Outcome::Permanent { why }
        | Outcome::Malformed { why }
        | Outcome::Stale { why } => why,
        Outcome::Throttled { .. } => {
            "the archive says that it was asked too much: try again later".into()
        }
        Outcome::Fresh(..) | Outcome::NotModified | Outcome::NotDue { .. } => {
            "the archive did not answer".into()
        }
    }
}
