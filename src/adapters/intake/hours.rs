//! The hours of past winters that a user brings: a table with `time` and `temperature_c`, or an archive of days, of which
//! hours are made.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDateTime;
use chrono_tz::Tz;

use super::archive::{ArchiveError, BELIEVED_C, days, unpacked};
use super::dates::{DateOrder, moment};
use crate::domain::local_time;
use crate::domain::units::fahrenheit_as_celsius;
use crate::domain::weather::seasons;

/// Names of the columns, by their first word for it.
const TIME: [&str; 3] = ["time", "time_local", "valid"];
const CELSIUS: [&str; 3] = ["temperature_c", "temp_c", "tmp_c"];
const FAHRENHEIT: [&str; 3] = ["temperature_f", "temp_f", "tmpf"];
const STATION: [&str; 2] = ["station", "site_id"];

/// The air by hours since 1970, C. Where several rows fall into an hour the coldest counts. In a table with a `station` (or
/// `site_id`) column only the rows of `station` are read. Times without an offset are those of the clocks in `zone`.
///
/// # Errors
/// [`ArchiveError`] with the line.
pub fn hours(body: &[u8], station: &str, zone: Tz) -> Result<BTreeMap<i64, f64>, ArchiveError> {
    let text = unpacked(body)?;
    let first = text.lines().next().unwrap_or_default().to_ascii_lowercase();
    let is_hourly = first.split(',').any(|head| TIME.contains(&head.trim().trim_matches('"')));
    let hours =
        if is_hourly { table(&text, station, zone)? } else { of_days(body, station, zone)? };
    if hours.is_empty() { Err(ArchiveError::Empty) } else { Ok(hours) }
}

fn of_days(body: &[u8], station: &str, zone: Tz) -> Result<BTreeMap<i64, f64>, ArchiveError> {
    let days = days(body, Some(station))?;
    Ok(seasons::hours(&days)
        .filter_map(|(wall, air_c)| Some((hour_of(wall, zone)?, air_c)))
        .collect())
}

fn hour_of(wall: NaiveDateTime, zone: Tz) -> Option<i64> {
    Some(local_time::stated(zone, wall)?.timestamp().div_euclid(3600))
}

fn table(text: &str, station: &str, zone: Tz) -> Result<BTreeMap<i64, f64>, ArchiveError> {
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let unreadable = |error: csv::Error| ArchiveError::Unreadable(error.to_string());
    let heads = reader.headers().map_err(unreadable)?.clone();
    let find = |names: &[&str]| {
        heads.iter().position(|head| names.iter().any(|name| head.eq_ignore_ascii_case(name)))
    };
    let time = find(&TIME).ok_or(ArchiveError::Column("time"))?;
    let celsius = find(&CELSIUS);
    let fahrenheit = find(&FAHRENHEIT);
    if celsius.or(fahrenheit).is_none() {
        return Err(ArchiveError::Column("temperature_c"));
    }
    let of_station = find(&STATION);
    let mut hours: BTreeMap<i64, f64> = BTreeMap::new();
    let mut others = BTreeSet::new();
    for record in reader.records() {
        let record = record.map_err(unreadable)?;
        let line = record.position().map_or(0, csv::Position::line);
        let field = |at: Option<usize>| at.and_then(|at| record.get(at)).unwrap_or_default();
        if of_station.is_some() && field(of_station) != station {
            others.insert(field(of_station).to_owned());
            continue;
        }
        let refuse = |what: &str, wanted| ArchiveError::Value { line, what: what.into(), wanted };
        let when = field(Some(time));
        let at = moment(when, DateOrder::MonthFirst, Some(zone))
            .ok_or_else(|| refuse(when, "time such as 2021-11-30 06:00"))?;
        let number = |text: &str| match text {
            "" | "NA" | "M" => Ok(None),
            text => text.parse::<f64>().map(Some).map_err(|_| refuse(text, "temperature")),
        };
        let in_f = number(field(fahrenheit))?.map(fahrenheit_as_celsius);
        let Some(air_c) = number(field(celsius))?.or(in_f) else { continue };
        if !BELIEVED_C.contains(&air_c) {
            return Err(refuse(&air_c.to_string(), "temperature that air can have"));
        }
        let hour = at.0.timestamp().div_euclid(3600);
        hours.entry(hour).and_modify(|coldest| *coldest = coldest.min(air_c)).or_insert(air_c);
    }
    if hours.is_empty() && !others.is_empty() {
        let has = others.into_iter().take(12).collect::<Vec<_>>().join(", ");
        return Err(ArchiveError::Station { wanted: station.to_owned(), has });
    }
    Ok(hours)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<(i64, f64)>, ArchiveError> {
        hours(text.as_bytes(), "QUAY", Tz::America__New_York).map(|h| h.into_iter().collect())
    }

    #[test]
    fn rows_of_a_logger_become_hours_by_the_clocks_of_the_place() {
        let first = 1_638_270_000 / 3600;
        assert_eq!(
            read("time,temperature_c\n2021-11-30 06:00,-1.5\n2021-11-30 06:40,-2\n2021-11-30T12:00:00Z,NA\n2021-11-30T13:00:00Z,0\n").unwrap(),
            [(first, -2.0), (first + 2, 0.0)]
        );
        let other =
            "station,time_local,temp_f\nQUAY,2021-11-30 06:00,23\nBARN,2021-11-30 06:00,50\n";
        assert_eq!(read(other).unwrap(), [(first, -5.0)]);
    }

    #[test]
    fn days_become_hours_that_reach_the_low_and_the_high() {
        let days = "date,tmin_c,tmax_c\n2021-11-29,0,8\n2021-11-30,-10,2\n2021-12-01,-4,3\n";
        let hours = read(days).unwrap();
        assert_eq!(hours.len(), 48, "from one morning to the last");
        let least = hours.iter().map(|(_, c)| *c).fold(f64::INFINITY, f64::min);
        assert!((-10.0..-9.5).contains(&least), "{least}");
    }

    #[test]
    fn what_cannot_be_read_is_named_with_its_line() {
        let words = |text: &str| read(text).unwrap_err().to_string();
        assert!(words("time,rain\n").contains("temperature_c"), "{}", words("time,rain\n"));
        assert!(words("time,temp_c\nsoon,1\n").contains("line 2"));
        assert!(words("time,temp_c\n2021-11-30 06:00,warm\n").contains("\"warm\""));
        assert!(words("time,temp_c\n2021-11-30 06:00,-200\n").contains("air can have"));
        let other = words("station,time,temp_c\nBARN,2021-11-30 06:00,1\n");
        assert!(other.contains("BARN") && other.contains("QUAY"), "{other}");
    }
}
