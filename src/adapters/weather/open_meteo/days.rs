//! Lows and highs of past days from Open-Meteo's archive (open-meteo.com, its documentation of the historical API): two
//! columns beside one of dates, cut at midnight GMT when that was asked for.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde_json::Value;

use super::super::measure::{Conversion, Quantity};
use super::super::nws::read_json;
use super::super::{Context, PayloadError};
use super::{ARCHIVE, Answer, Document, check_cell, nearest};
use crate::domain::weather::seasons::Day;

/// Most days of one answer: a century and a half.
const DAYS_MAX: usize = 55_000;
/// An archive of fewer known days than this of one and the same low is no weather.
const STUCK_DAYS: usize = 30;

/// Reads the days that have both a low and a high, oldest first.
///
/// # Errors
/// [`PayloadError`]: an error document, no JSON, no unit, columns of different length, no value, one value for a month or
/// more, another place.
pub fn parse_open_meteo_days(body: &[u8], context: &Context) -> Result<Vec<Day>, PayloadError> {
    let missing = |what| PayloadError::Missing { what, service: ARCHIVE };
    let document: Document = match read_json::<Answer>(body)? {
        Answer::One(document) => *document,
        Answer::Many(documents) => {
            nearest(documents, context.place).ok_or_else(|| missing("place"))?
        }
    };
    let document = document.unless_error()?;
    check_cell(&document, context)?;
    let daily = document.daily.as_ref().ok_or_else(|| missing("daily"))?;
    let dates: Vec<NaiveDate> = daily
        .get("time")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .take(DAYS_MAX)
        .map(|date| date.as_str()?.parse().ok())
        .collect::<Option<_>>()
        .filter(|dates: &Vec<NaiveDate>| dates.is_sorted() && !dates.is_empty())
        .ok_or_else(|| missing("daily.time"))?;
    let units = document.daily_units.as_ref();
    let lows = column(daily, units, "temperature_2m_min", dates.len())?;
    let highs = column(daily, units, "temperature_2m_max", dates.len())?;
    let mut days: BTreeMap<NaiveDate, Day> = BTreeMap::new();
    for ((date, low), high) in dates.iter().zip(lows).zip(highs) {
        if let (Some(low_c), Some(high_c)) = (low, high)
            && low_c <= high_c
        {
            days.insert(*date, Day { date: *date, low_c, high_c });
        }
    }
    let first = days
        .values()
        .next()
        .ok_or(PayloadError::AllMissing { hours: dates.len().saturating_mul(24), dropped: 0 })?;
    let stuck = days.values().all(|day| (day.low_c - first.low_c).abs() < 1e-6);
    if stuck && days.len() >= STUCK_DAYS {
        let hours = days.len().saturating_mul(24);
        return Err(PayloadError::AllOneValue { hours, celsius: first.low_c });
    }
    Ok(days.into_values().collect())
}

/// The values of a column in C; what cannot be is none.
fn column(
    daily: &BTreeMap<String, Value>,
    units: Option<&BTreeMap<String, Value>>,
    name: &str,
    days: usize,
) -> Result<Vec<Option<f64>>, PayloadError> {
    let unit = units.and_then(|u| u.get(name)).and_then(Value::as_str).unwrap_or_default();
    let conversion = Conversion::find(Quantity::Temperature, unit).ok_or_else(|| {
        let unit = if unit.is_empty() { "not given" } else { unit };
        PayloadError::Unit { unit: unit.chars().take(40).collect() }
    })?;
    let values = daily.get(name).and_then(Value::as_array).filter(|v| v.len() >= days);
    let values = values.ok_or(PayloadError::Missing {
        what: "column as long as its time column",
        service: ARCHIVE,
    })?;
    Ok(values.iter().take(days).map(|v| v.as_f64().and_then(|v| conversion.apply(v))).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(lows: &str, unit: &str) -> String {
        format!(
            "{{\"latitude\":44.2,\"longitude\":-69.1,\"utc_offset_seconds\":0,\
             \"daily_units\":{{\"temperature_2m_min\":\"{unit}\",\"temperature_2m_max\":\"{unit}\"}},\
             \"daily\":{{\"time\":[\"2021-12-01\",\"2021-12-02\",\"2021-12-03\"],\
             \"temperature_2m_min\":{lows},\"temperature_2m_max\":[33.8,35.6,50.0]}}}}"
        )
    }

    fn read(text: &str) -> Result<Vec<Day>, PayloadError> {
        parse_open_meteo_days(text.as_bytes(), &Context::default())
    }

    #[test]
    fn days_with_both_values_are_read_in_the_unit_that_is_named() {
        let days = read(&answer("[23.0,null,14.0]", "°F")).unwrap();
        assert_eq!(days.len(), 2);
        assert!((days[0].low_c + 5.0).abs() < 1e-9 && (days[0].high_c - 1.0).abs() < 1e-9);
        assert_eq!(days[1].date.to_string(), "2021-12-03");
    }

    #[test]
    fn what_cannot_serve_is_refused() {
        let refused = |text: &str| read(text).unwrap_err().to_string();
        assert!(matches!(
            read(&answer("[null,null,null]", "°C")),
            Err(PayloadError::AllMissing { .. })
        ));
        assert!(matches!(read(&answer("[1.0,2.0,3.0]", "")), Err(PayloadError::Unit { .. })));
        assert!(refused(&answer("[1.0,2.0]", "°C")).contains("as long as"));
        assert!(
            refused("{\"error\":true,\"reason\":\"Daily API request limit exceeded.\"}")
                .contains("limit")
        );
        let elsewhere = Context { place: "60,10".parse().ok(), now: None };
        let text = answer("[23.0,1.0,14.0]", "°F");
        let wrong = parse_open_meteo_days(text.as_bytes(), &elsewhere);
        assert!(matches!(wrong, Err(PayloadError::WrongPlace { .. })));
    }
}
