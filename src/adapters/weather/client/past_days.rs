//! Lows and highs of past days, asked for once and kept by the caller in a file.

use chrono::{DateTime, NaiveDate, Utc};

use super::state::words;
use super::{Client, http, polled};
use crate::adapters::weather::open_meteo::parse_open_meteo_days;
use crate::adapters::weather::{Context, Place};
use crate::app::ports::Outcome;
use crate::domain::weather::seasons::Day;

/// From here on east midnight GMT falls into the small hours or the day, degrees.
const EAST_DEG: f64 = 45.0;

impl Client {
    /// The days from `from` to `to` at a place, of a client whose base is that of Open-Meteo's archive.
    ///
    /// Days are cut at midnight GMT, which falls into the day or the evening of the Americas and the night of Europe, or,
    /// further east where it falls into the coldest hours, at a midnight of a fixed offset by the longitude: the service's own local days would have one
    /// offset for the whole of a series, wrong for half of each year.
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
             &temperature_unit=celsius&timezone={}{key}",
            zone(place.longitude())
        );
        let url = self.http.at(&path).ok_or("the address of the archive is not one")?;
        let ask = http::Ask { accept: "application/json", known: None, other_agent: false };
        let reply = self.http.get(url, &ask, now).await.map_err(|r| told(&r.outcome))?;
        let body = reply.body.ok_or("the archive answered without a document")?;
        let context = Context { place: Some(place), now: Some(now) };
        parse_open_meteo_days(&body, &context).map_err(|why| why.to_string())
    }
}

/// `GMT`, or east of 45 degrees the zone of a fixed offset; its sign is that of POSIX: `Etc/GMT-9` is nine hours ahead.
fn zone(longitude: f64) -> String {
    if longitude > EAST_DEG {
        format!("Etc%2FGMT-{:.0}", (longitude / 15.0).round().clamp(3.0, 12.0))
    } else {
        "GMT".to_owned()
    }
}

fn told(outcome: &Outcome) -> String {
    match outcome {
        Outcome::Throttled { .. } => {
            "the archive says that it was asked too much: try again later".into()
        }
        other => words(other).unwrap_or_else(|| "the archive did not answer".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::zone;

    #[test]
    fn days_are_cut_at_night() {
        for (longitude, expect) in [
            (-69.1, "GMT"),
            (10.4, "GMT"),
            (77.0, "Etc%2FGMT-5"),
            (139.7, "Etc%2FGMT-9"),
            (174.8, "Etc%2FGMT-12"),
        ] {
            assert_eq!(zone(longitude), expect, "{longitude}");
        }
    }
}
