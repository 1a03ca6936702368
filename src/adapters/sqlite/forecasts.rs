//! Forecasts as they stood, and what the next fetch has to know.

use std::sync::atomic::Ordering;

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::Store;
use super::column::{Millis, from_json, to_json};
use super::error::Doing as _;
use super::log::chain::sha256;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{ForecastStore, KeptState, StoreError, StoredForecast};
use crate::domain::boat::SiteId;
use crate::domain::weather::{Forecast, Step, WindowMinimum};

const COLUMNS: &str = "SELECT site, service, issued_ms, fetched_ms, content FROM forecast";

impl ForecastStore for Store {
    fn put_forecast(
        &self,
        site: &SiteId,
        forecast: &Forecast,
        fetched_at: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = "keeping a forecast";
        let content = to_json(&Compact::of(forecast), doing)?;
        let hash = sha256(&[content.as_bytes()]);
        let new = self.write(doing, |tx| {
            tx.change(
                "INSERT INTO forecast (site, service, issued_ms, fetched_ms, content_hash, content)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)
                 ON CONFLICT (site, service, issued_ms, content_hash) DO NOTHING",
                params![
                    site.as_str(),
                    forecast.service,
                    Millis(forecast.issued_at),
                    Millis(fetched_at),
                    hash,
                    content
                ],
            )
            .context(doing)
            .map(|rows| rows > 0)
        })?;
        self.forecasts.fetch_add(u64::from(new), Ordering::SeqCst);
        Ok(new)
    }

    fn forecasts_kept(&self) -> u64 {
        self.forecasts.load(Ordering::SeqCst)
    }

    fn latest_forecast(
        &self,
        site: &SiteId,
        service: Option<&str>,
        known_at: DateTime<Utc>,
    ) -> Result<Option<StoredForecast>, StoreError> {
        let doing = "reading the latest forecast";
        let statement = format!(
            "{COLUMNS} WHERE site = ?1 AND fetched_ms <= ?2 AND (?3 IS NULL OR service = ?3)
             ORDER BY issued_ms DESC, fetched_ms DESC, id DESC LIMIT 1"
        );
        self.read(doing, |connection| {
            connection
                .one_row(
                    &statement,
                    params![site.as_str(), Millis(known_at), service],
                    raw_forecast,
                )
                .optional()
                .context(doing)?
                .map(|raw| raw.unpack(doing))
                .transpose()
        })
    }

    fn latest_issue(
        &self,
        site: &SiteId,
        service: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreError> {
        let doing = "reading the time of the latest issue";
        self.read(doing, |connection| {
            connection
                .one_row(
                    "SELECT max(issued_ms) FROM forecast
                     WHERE site = ?1 AND service = ?2 AND issued_ms <= ?3 AND fetched_ms <= ?3",
                    params![site.as_str(), service, Millis(now)],
                    |row| row.get::<_, Option<Millis>>(0),
                )
                .context(doing)
                .map(|issued| issued.map(|Millis(at)| at))
        })
    }

    fn forecasts_between(
        &self,
        site: &SiteId,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<StoredForecast>, StoreError> {
        let doing = "reading the forecasts of a place";
        let statement = format!(
            "{COLUMNS} WHERE site = ?1 AND fetched_ms > ?2 AND fetched_ms <= ?3
             ORDER BY fetched_ms DESC, issued_ms DESC, id DESC"
        );
        self.read(doing, |connection| {
            let mut statement = connection.prepare_cached(&statement).context(doing)?;
            let rows = statement
                .query_map(params![site.as_str(), Millis(from), Millis(to)], raw_forecast)
                .context(doing)?;
            let mut found = Vec::new();
            for raw in rows {
                found.push(raw.context(doing)?.unpack(doing)?);
            }
            Ok(found)
        })
    }

    fn fetch_document(
        &self,
        service: &str,
        site: &SiteId,
    ) -> Result<Option<KeptState<Value>>, StoreError> {
        let doing = "reading the state of fetching";
        self.read(doing, |connection| {
            let row: Option<(Option<Millis>, String)> = connection
                .one_row(
                    "SELECT last_answer_ms, document FROM fetch_state WHERE service = ?1 AND site = ?2",
                    params![service, site.as_str()],
                    |row| Ok((row.get(0)?, row.get(1)?)),
                )
                .optional()
                .context(doing)?;
            row.map(|(last, text)| {
                let document = from_json(&text, doing)?;
                Ok(KeptState { last_answer: last.map(|Millis(at)| at), document })
            })
            .transpose()
        })
    }

    fn put_fetch_document(
        &self,
        service: &str,
        site: &SiteId,
        document: &Value,
        last_answer: Option<DateTime<Utc>>,
    ) -> Result<(), StoreError> {
        let doing = "keeping the state of fetching";
        let document = to_json(document, doing)?;
        self.write(doing, |tx| {
            tx.change(
                "INSERT INTO fetch_state (service, site, last_answer_ms, document) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (service, site) DO UPDATE
                 SET last_answer_ms = coalesce(?3, last_answer_ms), document = ?4",
                params![service, site.as_str(), last_answer.map(Millis), document],
            )
            .context(doing)
            .map(drop)
        })
    }
}

/// A row before its content is read.
struct RawForecast {
    site: String,
    service: String,
    issued: Millis,
    fetched: Millis,
    content: String,
}

fn raw_forecast(row: &Row<'_>) -> rusqlite::Result<RawForecast> {
    Ok(RawForecast {
        site: row.get(0)?,
        service: row.get(1)?,
        issued: row.get(2)?,
        fetched: row.get(3)?,
        content: row.get(4)?,
    })
}

impl RawForecast {
    fn unpack(self, doing: &str) -> Result<StoredForecast, StoreError> {
        let compact: Compact = from_json(&self.content, doing)?;
        let forecast =
            compact.forecast(self.service, self.issued.0).ok_or_else(|| StoreError::Damaged {
                doing: doing.to_owned(),
                what: "the columns of a forecast differ in length".to_owned(),
            })?;
        Ok(StoredForecast { site: self.site.into(), fetched_at: self.fetched.0, forecast })
    }
}

/// The content of a forecast by columns: a tenth of the bytes of the steps written out. A column in which every hour
/// is missing is left out.
#[derive(Serialize, Deserialize)]
struct Compact {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cell_elevation_m: Option<f64>,
    missing: usize,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
    hours: usize,
    start_ms: i64,
    /// Milliseconds of every step, only where they are not whole hours in a row.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    times_ms: Option<Vec<i64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    temperature_c: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    p10_c: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    p90_c: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    dewpoint_c: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    wind_ms: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    cloud: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    precipitation_mm: Vec<Option<f64>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    snow_cm: Vec<Option<f64>>,
    /// Start and end in milliseconds, and the minimum in C.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    minima: Vec<(i64, i64, f64)>,
    /// Ensemble members in hundredths of a degree, one list of `hours` values for each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    members_centi: Vec<Vec<Option<i32>>>,
}

const HOUR_MS: i64 = 3_600_000;

impl Compact {
    fn of(forecast: &Forecast) -> Self {
        let steps = &forecast.steps;
        let times: Vec<i64> = steps.iter().map(|step| step.time.timestamp_millis()).collect();
        let start_ms = times.first().copied().unwrap_or(0);
        let hourly = times.iter().zip(times.iter().skip(1)).all(|(a, b)| b - a == HOUR_MS);
        let column = |pick: fn(&Step) -> Option<f64>| {
            let values: Vec<Option<f64>> = steps.iter().map(pick).collect();
            if values.iter().all(Option::is_none) { Vec::new() } else { values }
        };
        Self {
            cell_elevation_m: forecast.cell_elevation_m,
            missing: forecast.missing,
            warnings: forecast.warnings.clone(),
            hours: steps.len(),
            start_ms,
            times_ms: (!hourly).then_some(times),
            temperature_c: column(|step| step.temperature_c),
            p10_c: column(|step| step.p10_c),
            p90_c: column(|step| step.p90_c),
            dewpoint_c: column(|step| step.dewpoint_c),
            wind_ms: column(|step| step.wind_ms),
            cloud: column(|step| step.cloud),
            precipitation_mm: column(|step| step.precipitation_mm),
            snow_cm: column(|step| step.snow_cm),
            minima: forecast
                .minima
                .iter()
                .map(|minimum| {
                    let (start, end) = (minimum.start, minimum.end);
                    (start.timestamp_millis(), end.timestamp_millis(), minimum.temperature_c)
                })
                .collect(),
            members_centi: forecast.members.iter().map(|member| centi(member)).collect(),
        }
    }

    fn forecast(self, service: String, issued_at: DateTime<Utc>) -> Option<Forecast> {
        let columns = [
            &self.temperature_c,
            &self.p10_c,
            &self.p90_c,
            &self.dewpoint_c,
            &self.wind_ms,
            &self.cloud,
            &self.precipitation_mm,
            &self.snow_cm,
        ];
        let fits = |len: usize| len == 0 || len == self.hours;
        if !columns.iter().all(|column| fits(column.len()))
            || self.times_ms.as_ref().is_some_and(|times| times.len() != self.hours)
            || !self.members_centi.iter().all(|member| member.len() == self.hours)
        {
            return None;
        }
        let start = DateTime::from_timestamp_millis(self.start_ms)?;
        let mut steps = Vec::with_capacity(self.hours);
        for index in 0..self.hours {
            let time = match &self.times_ms {
                Some(times) => DateTime::from_timestamp_millis(*times.get(index)?)?,
                None => start + TimeDelta::try_hours(i64::try_from(index).ok()?)?,
            };
            let at = |column: &[Option<f64>]| column.get(index).copied().flatten();
            steps.push(Step {
                time,
                temperature_c: at(&self.temperature_c),
                p10_c: at(&self.p10_c),
                p90_c: at(&self.p90_c),
                dewpoint_c: at(&self.dewpoint_c),
                wind_ms: at(&self.wind_ms),
                cloud: at(&self.cloud),
                precipitation_mm: at(&self.precipitation_mm),
                snow_cm: at(&self.snow_cm),
            });
        }
        let minima = self
            .minima
            .iter()
            .map(|(start, end, temperature_c)| {
                Some(WindowMinimum {
                    start: DateTime::from_timestamp_millis(*start)?,
                    end: DateTime::from_timestamp_millis(*end)?,
                    temperature_c: *temperature_c,
                })
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Forecast {
            service,
            issued_at,
            cell_elevation_m: self.cell_elevation_m,
            steps,
            minima,
            members: self.members_centi.iter().map(|member| uncenti(member)).collect(),
            missing: self.missing,
            warnings: self.warnings,
        })
    }
}

/// Services publish tenths of a degree: hundredths lose nothing.
#[expect(clippy::cast_possible_truncation, reason = "a float to integer cast saturates")]
fn centi(member: &[Option<f64>]) -> Vec<Option<i32>> {
    member.iter().map(|value| value.map(|celsius| (celsius * 100.0).round() as i32)).collect()
}

fn uncenti(member: &[Option<i32>]) -> Vec<Option<f64>> {
    member.iter().map(|value| value.map(|centi| f64::from(centi) / 100.0)).collect()
}
