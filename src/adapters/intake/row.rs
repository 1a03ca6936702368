//! One row, cell by cell: what is blank is `None`, what is bad is noted with what would be right.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveTime};
use chrono_tz::Tz;
use csv::StringRecord;

use super::amounts::{in_units, number};
use super::dates;
use super::problems::Problem;
use super::sheet::Sheet;
use crate::domain::catalogue::nearest;

/// After so many problems no nearest name is looked for: each look goes through every known name.
const SUGGESTIONS_MAX: usize = 500;

/// Units that people write behind a figure of the column's own unit.
const UNITS: [&str; 12] = [
    "minutes", "minute", "mins", "min", "litres", "liters", "litre", "liter", "l", "volts", "v",
    "%",
];

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
            let text = text.to_lowercase();
            let bare = UNITS.iter().find_map(|unit| text.strip_suffix(unit)).unwrap_or(&text);
            number(bare).filter(|value| (low..=high).contains(value))
        })
    }

    /// An amount in the unit of the column, or with another unit of `units` behind it.
    pub(super) fn amount(
        &mut self,
        column: &str,
        (low, high): (f64, f64),
        units: &[(&str, f64)],
        right: &str,
    ) -> Option<f64> {
        self.parse(column, right, |text| {
            number(&in_units(text, units)).filter(|value| (low..=high).contains(value))
        })
    }

    /// Yes or no; `n/a` and blank are `None`.
    pub(super) fn yes_no(&mut self, column: &str) -> Option<bool> {
        self.parse(column, "yes, no or blank", |text| match text.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" | "\u{2713}" | "\u{2714}" | "both" | "all" => {
                Some(Some(true))
            }
            "no" | "n" | "false" | "0" => Some(Some(false)),
            "n/a" | "na" | "-" | "unknown" => Some(None),
            _ => None,
        })
        .flatten()
    }

    /// A day, `2022-10-03` or in another form that people write.
    pub(super) fn date(&mut self, column: &str) -> Option<NaiveDate> {
        let order = self.sheet.order;
        self.parse(column, "a day such as 2022-10-03", |text| dates::day(text, order))
    }

    /// A time of day, `21:00`.
    pub(super) fn time(&mut self, column: &str) -> Option<NaiveTime> {
        self.parse(column, "a time of day such as 21:00", dates::clock)
    }

    /// A moment, and whether its hour is known: `2022-10-03T14:00:00-04:00`, or in another form by the clocks of `zone`.
    pub(super) fn moment(
        &mut self,
        column: &str,
        zone: Option<Tz>,
    ) -> Option<(DateTime<FixedOffset>, bool)> {
        let order = self.sheet.order;
        let other = order.other();
        if let Some(text) = self.text(column)
            && dates::moment(text, order, zone).is_none()
            && dates::moment(text, other, zone).is_some()
        {
            self.refuse(
                column,
                "has day and month the other way round than the rest of the file: write dates as 2022-10-03",
            );
            return None;
        }
        self.need(column, "a time with its offset such as 2022-10-03T14:00:00-04:00", |text| {
            dates::moment(text, order, zone)
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

/// A telephone number in one form: ten digits of North America as 207-555-0100, others as +country and digits; an extension
/// stays. `None` for what is no telephone number.
pub(super) fn phone(text: &str) -> Option<String> {
    let lower = text.trim().to_lowercase();
    let (main, extension) = match ["ext", "x"].iter().find_map(|mark| lower.split_once(mark)) {
        Some((main, extension)) => (main, extension.trim_matches(['.', ' ', ':'])),
        None => (lower.as_str(), ""),
    };
    let main = main.trim().trim_start_matches("tel").trim_matches([':', '.', ' ']);
    let known =
        |letter: char| letter.is_ascii_digit() || "+-. ()/\u{a0}\u{2011}\u{2013}".contains(letter);
    if !main.chars().all(known) || !extension.chars().all(|letter| letter.is_ascii_digit()) {
        return None;
    }
    let digits: String = main.chars().filter(char::is_ascii_digit).collect();
    let abroad = main.starts_with('+') && !main.starts_with("+1");
    let home = digits.strip_prefix('1').filter(|rest| rest.len() == 10).unwrap_or(&digits);
    let number = match (abroad, home.len()) {
        (false, 10) => {
            format!("{}-{}-{}", home.get(..3)?, home.get(3..6)?, home.get(6..)?)
        }
        // E.164: at most fifteen digits with the country's.
        (true, _) if (7..=15).contains(&digits.len()) => format!("+{digits}"),
        (false, 7) => format!("{}-{}", home.get(..3)?, home.get(3..)?),
        _ => return None,
    };
    Some(if extension.is_empty() { number } else { format!("{number} ext {extension}") })
}

/// Metres from a length with its unit: `8.5 m`, else feet as [`metres_from_feet`] reads them.
pub(super) fn metres_from_length(text: &str) -> Option<f64> {
    let lower = text.trim().to_lowercase();
    let metres = ["metres", "meters", "metre", "meter", "m"]
        .iter()
        .find_map(|unit| lower.strip_suffix(unit));
    match metres {
        Some(figure) => number(figure).filter(|metres| (0.5..=200.0).contains(metres)),
        None => metres_from_feet(text),
    }
}

/// Metres from feet: `27.9`, `27'6"`, `27 ft 6 in`.
fn metres_from_feet(text: &str) -> Option<f64> {
    const METRES_PER_FOOT: f64 = 0.3048;
    let text = text
        .to_lowercase()
        .replace("feet", "'")
        .replace("foot", "'")
        .replace("ft.", "'")
        .replace("ft", "'")
        .replace("inches", "\"")
        .replace("inch", "\"")
        .replace("in.", "\"")
        .replace("in", "\"")
        .replace("\u{bd}", " 1/2")
        .replace("''", "\"")
        .replace(['\u{2019}', '\u{2032}', '\u{b4}', '`'], "'");
    // 27-6 is feet and inches too.
    let text = match text.split_once('-') {
        Some((feet, inches)) if !feet.is_empty() && !text.contains('\'') => {
            format!("{feet}'{inches}")
        }
        _ => text.replace("'-", "'"),
    };
    let (feet, inches) = match text.split_once('\'') {
        Some((feet, rest)) => (
            feet.to_owned(),
            rest.trim().trim_end_matches(['"', '\u{201D}', '\u{2033}']).to_owned(),
        ),
        None => (text, String::new()),
    };
    let inches = inches.split_whitespace().try_fold(0.0, |sum, part| {
        let value = match part.split_once('/') {
            Some((over, under)) => number(over)? / number(under).filter(|under| *under > 0.0)?,
            None => number(part)?,
        };
        Some(sum + value)
    })?;
    let metres = (number(&feet)? + inches / 12.0) * METRES_PER_FOOT;
    ((0.5..=200.0).contains(&metres) && (0.0..12.0).contains(&inches)).then_some(metres)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_as_people_write_them() {
        let check = |text: &str, want: Option<f64>| {
            let got = metres_from_length(text).map(|metres| (metres * 1000.0).round() / 1000.0);
            assert_eq!(got, want, "{text}");
        };
        for text in [
            "27'6\"",
            "27' 6\"",
            "27 ft 6 in",
            "27-6",
            "27.5",
            "27.5 ft",
            "27,5",
            "27\u{2019}6\u{201D}",
            "27'6''",
            "27 feet 6 inches",
        ] {
            check(text, Some(8.382));
        }
        check("27' 6 1/2\"", Some(8.395));
        check("8.38 m", Some(8.38));
        check("27'13\"", None);
        check("long", None);
    }

    #[test]
    fn telephone_numbers_come_into_one_form() {
        let check =
            |text: &str, want: Option<&str>| assert_eq!(phone(text).as_deref(), want, "{text}");
        for text in [
            "207-555-0142",
            "(207) 555-0142",
            "207.555.0142",
            "+1 207 555 0142",
            "1-207-555-0142",
            "2075550142",
            "tel: 207 555 0142",
        ] {
            check(text, Some("207-555-0142"));
        }
        check("207-555-0142 x12", Some("207-555-0142 ext 12"));
        check("+44 20 7946 0018", Some("+442079460018"));
        check("555-0142", Some("555-0142"));
        check("call the office", None);
        check("12", None);
    }
}
