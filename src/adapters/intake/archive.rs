//! Past days that a user brings: a GHCN-Daily station file (`.dly`, NOAA's readme.txt of the data set, section III) or a
//! table with `date`, `tmin_c` and `tmax_c`; either may be gzipped.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use chrono::NaiveDate;
use thiserror::Error;

use crate::app::ports::{ArchivedDays, DayArchive};
use crate::domain::weather::seasons::Day;

/// Largest file, unpacked: a century and a half of one station has 3 MB as `.dly`.
pub const ARCHIVE_BYTES_MAX: u64 = 64 * 1024 * 1024;
/// Believed air temperatures, C.
pub(super) const BELIEVED_C: std::ops::RangeInclusive<f64> = -70.0..=60.0;

/// A file that is no archive of days.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum ArchiveError {
    /// Not text, or damaged packing.
    #[error("the archive is not readable text ({0})")]
    Unreadable(String),
    /// Too large.
    #[error("the archive has more than {ARCHIVE_BYTES_MAX} bytes")]
    TooLarge,
    /// A table without the columns.
    #[error(
        "line 1: no column {0}; a table of days needs date, tmin_c and tmax_c (or be a GHCN-Daily .dly file), one of hours time and temperature_c"
    )]
    Column(&'static str),
    /// A row that cannot be read.
    #[error("line {line}: {what:?} is no {wanted}")]
    Value {
        /// Line number, from 1.
        line: u64,
        /// What stands there.
        what: String,
        /// What would be right.
        wanted: &'static str,
    },
    /// Nothing with a value.
    #[error("no day in it has both a low and a high, and no hour a temperature")]
    Empty,
    /// No row of the station.
    #[error("no row is about {wanted}; the table has {has}")]
    Station {
        /// Which was looked for.
        wanted: String,
        /// Those that it has, some of them.
        has: String,
    },
}

/// Archives as files.
#[derive(Debug, Clone, Copy, Default)]
pub struct DayFiles;

impl DayArchive for DayFiles {
    fn read(
        &self,
        file: &Path,
        station: &str,
    ) -> Result<ArchivedDays, Box<dyn std::error::Error + Send + Sync>> {
        let size = std::fs::metadata(file)?.len();
        if size > ARCHIVE_BYTES_MAX {
            let words =
                format!("has {size} bytes, more than the {ARCHIVE_BYTES_MAX} that are read");
            return Err(words.into());
        }
        let body = std::fs::read(file)?;
        Ok(ArchivedDays { days: days(&body, Some(station))?, source: source(&body) })
    }
}

/// The days with both values. In a table with a `station` column only rows of `station` are read, where it is given.
///
/// # Errors
/// [`ArchiveError`] with the line.
pub fn days(body: &[u8], station: Option<&str>) -> Result<Vec<Day>, ArchiveError> {
    let text = unpacked(body)?;
    let first = text.lines().next().unwrap_or_default();
    let days = if first.len() >= 29 && !first.contains(',') {
        dly(&text)?
    } else {
        table(&text, station)?
    };
    if days.is_empty() { Err(ArchiveError::Empty) } else { Ok(days) }
}

/// Whose days they are, where a table says so in its `source` column: the first that is named.
#[must_use]
pub fn source(body: &[u8]) -> Option<String> {
    let text = unpacked(body).ok()?;
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(text.as_bytes());
    let at = reader.headers().ok()?.iter().position(|head| head.eq_ignore_ascii_case("source"))?;
    let first = reader.records().next()?.ok()?;
    first.get(at).filter(|source| !source.is_empty()).map(|s| s.chars().take(60).collect())
}

/// The text of a file that may be gzipped.
pub(super) fn unpacked(body: &[u8]) -> Result<String, ArchiveError> {
    let unreadable = |error: std::io::Error| ArchiveError::Unreadable(error.to_string());
    let mut bytes = Vec::new();
    let limit = ARCHIVE_BYTES_MAX.saturating_add(1);
    if body.starts_with(&[0x1f, 0x8b]) {
        flate2::read::MultiGzDecoder::new(body)
            .take(limit)
            .read_to_end(&mut bytes)
            .map_err(unreadable)?;
    } else {
        body.take(limit).read_to_end(&mut bytes).map_err(unreadable)?;
    }
    if u64::try_from(bytes.len()).is_ok_and(|length| length > ARCHIVE_BYTES_MAX) {
        return Err(ArchiveError::TooLarge);
    }
    String::from_utf8(bytes).map_err(|error| ArchiveError::Unreadable(error.to_string()))
}

/// Fixed columns: year 12-15, month 16-17, element 18-21, then for each day value (tenths of a degree, 5), measurement,
/// quality and source flags. -9999 is missing; a value with a quality flag has failed a check.
fn dly(text: &str) -> Result<Vec<Day>, ArchiveError> {
    let mut values: BTreeMap<NaiveDate, [Option<f64>; 2]> = BTreeMap::new();
    for (number, line) in text.lines().enumerate() {
        let at = match line.get(17..21) {
            Some("TMIN") => 0,
            Some("TMAX") => 1,
            _ => continue,
        };
        let line_number = u64::try_from(number).unwrap_or(u64::MAX).saturating_add(1);
        let month = line.get(11..15).zip(line.get(15..17));
        let month = month.and_then(|(y, m)| Some((y.parse::<i32>().ok()?, m.parse::<u32>().ok()?)));
        let (year, month) = month.ok_or_else(|| ArchiveError::Value {
            line: line_number,
            what: line.chars().take(21).collect(),
            wanted: "year and month in columns 12 to 17",
        })?;
        for day in 1..=31_u32 {
            let start = usize::try_from(day)
                .unwrap_or(1)
                .saturating_sub(1)
                .saturating_mul(8)
                .saturating_add(21);
            let (Some(value), Some(flag)) =
                (line.get(start..start + 5), line.get(start + 6..start + 7))
            else {
                break;
            };
            let tenths = value.trim().parse::<i32>().ok().filter(|v| *v != -9999 && flag == " ");
            let celsius = tenths.map(|t| f64::from(t) / 10.0).filter(|c| BELIEVED_C.contains(c));
            let date = NaiveDate::from_ymd_opt(year, month, day);
            if let (Some(date), Some(celsius)) = (date, celsius)
                && let Some(slot) = values.entry(date).or_default().get_mut(at)
            {
                *slot = Some(celsius);
            }
        }
    }
    Ok(whole(values))
}

fn table(text: &str, station: Option<&str>) -> Result<Vec<Day>, ArchiveError> {
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let unreadable = |error: csv::Error| ArchiveError::Unreadable(error.to_string());
    let heads = reader.headers().map_err(unreadable)?.clone();
    let find = |name: &'static str| {
        heads
            .iter()
            .position(|head| head.eq_ignore_ascii_case(name))
            .ok_or(ArchiveError::Column(name))
    };
    let (date, low, high) = (find("date")?, find("tmin_c")?, find("tmax_c")?);
    let of_station = find("station").ok();
    let mut values: BTreeMap<NaiveDate, [Option<f64>; 2]> = BTreeMap::new();
    for record in reader.records() {
        let record = record.map_err(unreadable)?;
        let line = record.position().map_or(0, csv::Position::line);
        let field = |at: usize| record.get(at).unwrap_or_default();
        if let (Some(at), Some(station)) = (of_station, station)
            && field(at) != station
        {
            continue;
        }
        let refuse = |what: &str, wanted| ArchiveError::Value { line, what: what.into(), wanted };
        let day: NaiveDate =
            field(date).parse().map_err(|_| refuse(field(date), "date such as 2021-11-30"))?;
        let celsius = |at: usize| match field(at) {
            "" | "NA" => Ok(None),
            text => {
                let value = text.parse::<f64>().ok().filter(|c| BELIEVED_C.contains(c));
                value.map(Some).ok_or_else(|| refuse(text, "temperature in C"))
            }
        };
        values.insert(day, [celsius(low)?, celsius(high)?]);
    }
    Ok(whole(values))
}

fn whole(values: BTreeMap<NaiveDate, [Option<f64>; 2]>) -> Vec<Day> {
    let day = |(date, [low, high]): (NaiveDate, [Option<f64>; 2])| {
        Some(Day { date, low_c: low?, high_c: high? })
    };
    values.into_iter().filter_map(day).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_station_file_is_read_by_its_columns() {
        let mut low = "QQ000000001202112TMIN".to_owned();
        let mut high = "QQ000000001202112TMAX".to_owned();
        for (l, h) in
            ["  -28   ", "-9999   ", "  -50 X "].iter().zip(["   11   ", "   22   ", "   33   "])
        {
            low.push_str(l);
            high.push_str(h);
        }
        let found = days(format!("{low}\n{high}\n").as_bytes(), None).unwrap();
        assert_eq!(found.len(), 1, "missing and flagged values are left out");
        assert_eq!((found[0].low_c, found[0].high_c), (-2.8, 1.1));
    }

    #[test]
    fn a_table_names_the_line_that_is_wrong() {
        let read = |text: &str| days(text.as_bytes(), None);
        assert_eq!(read("date,tmin_c,tmax_c\n2021-12-01,-3.5,2\n").unwrap().len(), 1);
        assert_eq!(read("date,tmin_c\n").unwrap_err(), ArchiveError::Column("tmax_c"));
        let wrong = read("date,tmin_c,tmax_c\n2021-12-01,cold,2\n").unwrap_err();
        assert!(wrong.to_string().starts_with("line 2: \"cold\""), "{wrong}");
        assert_eq!(read("date,tmin_c,tmax_c\n2021-12-01,,2\n").unwrap_err(), ArchiveError::Empty);
    }
}
