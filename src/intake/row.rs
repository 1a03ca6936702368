//! One row, cell by cell: what is blank is `None`, what is bad is noted with what would be right.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveTime};
use csv::StringRecord;

use super::problems::Problem;
use super::sheet::Sheet;
use crate::domain::catalogue::nearest;

/// After so many problems no nearest name is looked for: each look goes through every known name.
const SUGGESTIONS_MAX: usize = 500;

/// Reads the cells of one row and collects what is wrong with them.
pub(super) struct Row<'a> {
    pub(super) sheet: &'a Sheet,
    pub(super) record: &'a StringRecord,
    pub(super) line: u64,
    pub(super) problems: &'a mut Vec<Problem>,
}

impl<'a> Row<'a> {
    /// The trimmed text of a cell, `None` where blank or where there is no such column.
    pub(super) fn text(&self, column: &str) -> Option<&'a str> {
        let cell = self.record.get(self.sheet.column(column)?)?.trim();
        (!cell.is_empty()).then_some(cell)
    }

    /// As [`Row::text`], owned and never `None`.
    pub(super) fn words(&self, column: &str) -> String {
        self.text(column).unwrap_or_default().to_owned()
    }

    /// Says that no `what` is called `word`, with the nearest of `names`.
    pub(super) fn unknown<'n>(
        &self,
        what: &str,
        word: &str,
        names: impl IntoIterator<Item = &'n str>,
    ) -> String {
        unknown(what, word, names, self.problems.len())
    }

    /// Notes that a cell is wrong.
    pub(super) fn refuse(&mut self, column: &str, remedy: impl Into<String>) {
        let value = self.words(column);
        self.problems.push(Problem {
            line: self.line,
            column: column.to_owned(),
            value,
            remedy: remedy.into(),
        });
    }

    /// A cell that must be filled.
    pub(super) fn required(&mut self, column: &str) -> Option<&'a str> {
        let text = self.text(column);
        if text.is_none() {
            self.refuse(column, "must not be blank");
        }
        text
    }

    /// A cell read by `read`; blank is `None` without a complaint.
    pub(super) fn parse<T>(
        &mut self,
        column: &str,
        right: &str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        let value = read(self.text(column)?);
        if value.is_none() {
            self.refuse(column, format!("must be {right}"));
        }
        value
    }

    /// As [`Row::parse`], for a cell that must be filled.
    pub(super) fn need<T>(
        &mut self,
        column: &str,
        right: &str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        self.required(column)?;
        self.parse(column, right, read)
    }

    /// A number within a range, with a decimal point or comma.
    pub(super) fn number(&mut self, column: &str, low: f64, high: f64) -> Option<f64> {
        self.parse(column, &format!("a number from {low} to {high}"), |text| {
            number(text).filter(|value| (low..=high).contains(value))
        })
    }

    /// Yes or no; `n/a` and blank are `None`.
    pub(super) fn yes_no(&mut self, column: &str) -> Option<bool> {
        self.parse(column, "yes, no or blank", |text| match text.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" => Some(Some(true)),
            "no" | "n" | "false" | "0" => Some(Some(false)),
            "n/a" | "na" | "-" | "unknown" => Some(None),
            _ => None,
        })
        .flatten()
    }

    /// A day, `2022-10-03`.
    pub(super) fn date(&mut self, column: &str) -> Option<NaiveDate> {
        self.parse(column, "a day such as 2022-10-03", |text| text.parse().ok())
    }

    /// A time of day, `21:00`.
    pub(super) fn time(&mut self, column: &str) -> Option<NaiveTime> {
        self.parse(column, "a time of day such as 21:00", |text| {
            NaiveTime::parse_from_str(text, "%H:%M")
                .or_else(|_| NaiveTime::parse_from_str(text, "%H:%M:%S"))
                .ok()
        })
    }

    /// A moment with its offset, `2022-10-03T14:00:00-04:00`.
    pub(super) fn moment(&mut self, column: &str) -> Option<DateTime<FixedOffset>> {
        self.need(column, "a time with its offset such as 2022-10-03T14:00:00-04:00", |text| {
            DateTime::parse_from_rfc3339(text)
                .or_else(|_| DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M%:z"))
                .ok()
        })
    }
}

/// Says that no `what` is called `word`, with the nearest of `names` unless many problems are there already.
pub(super) fn unknown<'n>(
    what: &str,
    word: &str,
    names: impl IntoIterator<Item = &'n str>,
    problems: usize,
) -> String {
    match (problems < SUGGESTIONS_MAX).then(|| nearest(word, names)).flatten() {
        Some(like) => format!("no {what} has this name; the nearest is {like}"),
        None => format!("no {what} has this name: enter it first or correct it"),
    }
}

/// A finite number with a decimal point or a decimal comma.
pub(super) fn number(text: &str) -> Option<f64> {
    let text = text.trim();
    let value = if text.contains('.') { text.parse() } else { text.replace(',', ".").parse() };
    value.ok().filter(|value: &f64| value.is_finite())
}

/// Metres from feet: `27.9`, `27'6"`, `27 ft 6 in`.
pub(super) fn metres_from_feet(text: &str) -> Option<f64> {
    const METRES_PER_FOOT: f64 = 0.3048;
    let text = text
        .to_lowercase()
        .replace("ft", "'")
        .replace("in", "\"")
        .replace(['\u{2019}', '\u{2032}'], "'");
    let (feet, inches) = match text.split_once('\'') {
        Some((feet, rest)) => (
            feet.to_owned(),
            rest.trim().trim_end_matches(['"', '\u{201D}', '\u{2033}']).to_owned(),
        ),
        None => (text, String::new()),
    };
    let inches = if inches.trim().is_empty() { 0.0 } else { number(&inches)? };
    let metres = (number(&feet)? + inches / 12.0) * METRES_PER_FOOT;
    ((0.5..=200.0).contains(&metres) && (0.0..12.0).contains(&inches)).then_some(metres)
}
