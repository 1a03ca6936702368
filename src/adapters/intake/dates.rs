//! Days and moments in the forms in which people write them.
//!
//! `2022-10-03`, `10/3/2022`, `3.10.2022`, `3 Oct 2022`, `Oct 3, 2022`, a spreadsheet's day number; each with a time of day
//! behind it or none. Which of two numbers is the day, where both could be, is settled once for a whole file.

use chrono::{DateTime, Datelike as _, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime};
use chrono_tz::Tz;

use crate::domain::local_time;

/// Day numbers of spreadsheets between these are dates of 1954 to 2119; other numbers are no dates.
const SERIALS: std::ops::RangeInclusive<f64> = 20_000.0..=80_000.0;
/// Years of two digits from here on are of the last century.
const CENTURY_TURNS_AT: i32 = 70;

/// Which number of `10/3/2022` is the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    /// Day, month, year.
    DayFirst,
    /// Month, day, year.
    MonthFirst,
}

impl DateOrder {
    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::DayFirst => Self::MonthFirst,
            Self::MonthFirst => Self::DayFirst,
        }
    }
}

/// The order that a text shows by itself: one of its two numbers is no month. `None` where both could be, or where the
/// text has another form.
pub(super) fn order_shown(text: &str) -> Option<DateOrder> {
    let (first, second) = pair(text)?;
    match (first > 12, second > 12) {
        (true, false) => Some(DateOrder::DayFirst),
        (false, true) => Some(DateOrder::MonthFirst),
        _ => None,
    }
}

/// Whether the order makes a difference: both numbers could be months, and they are not the same.
pub(super) fn is_ambiguous(text: &str) -> bool {
    pair(text).is_some_and(|(first, second)| first <= 12 && second <= 12 && first != second)
}

/// The two numbers before the year of a date with slashes or dashes.
fn pair(text: &str) -> Option<(u32, u32)> {
    let date = text.split_whitespace().next()?;
    let mut parts = date.split(['/', '-']);
    let (first, second, year) = (parts.next()?, parts.next()?, parts.next()?);
    (first.len() <= 2 && (year.len() == 2 || year.len() == 4) && parts.next().is_none())
        .then_some(())?;
    Some((first.parse().ok()?, second.parse().ok()?))
}

/// A day, in any of the forms.
pub(super) fn day(text: &str, order: DateOrder) -> Option<NaiveDate> {
    wall(text, order).map(|(date, _)| date)
}

/// A day and, where there is one, a time of day.
pub(super) fn wall(text: &str, order: DateOrder) -> Option<(NaiveDate, Option<NaiveTime>)> {
    let text = text.trim();
    if let Ok(at) = text.parse::<NaiveDateTime>() {
        return Some((at.date(), Some(at.time())));
    }
    if let Some(found) = serial(text) {
        return Some(found);
    }
    // The time of day, if any, is the last word or two of the text, or stands behind a T.
    let words: Vec<&str> = text.split([' ', '\u{a0}']).filter(|word| !word.is_empty()).collect();
    for behind in [0, 1, 2] {
        let Some(cut) = words.len().checked_sub(behind).filter(|cut| *cut > 0) else { continue };
        let (date, time) = words.split_at(cut);
        let date = date_only(date.join(" ").trim_end_matches([',', 'T']), order);
        let time = if behind == 0 { Some(None) } else { clock(&time.join(" ")).map(Some) };
        if let (Some(date), Some(time)) = (date, time) {
            return Some((date, time));
        }
    }
    let (date, time) = text.split_once('T')?;
    Some((date_only(date, order)?, Some(clock(time)?)))
}

/// A time of day: `14:00`, `2:30 pm`, `9am`.
pub(super) fn clock(text: &str) -> Option<NaiveTime> {
    let text = text.trim().to_lowercase().replace(['.', ' '], "");
    if let Some(hour) = text.strip_suffix("am").or_else(|| text.strip_suffix("pm"))
        && let Ok(hour) = hour.parse::<u32>()
    {
        let noon = if text.ends_with("pm") { 12 } else { 0 };
        return (1..=12)
            .contains(&hour)
            .then(|| NaiveTime::from_hms_opt(hour % 12 + noon, 0, 0))?;
    }
    ["%H:%M", "%H:%M:%S", "%I:%M%p", "%I:%M:%S%p", "%H:%M:%S%.f"]
        .iter()
        .find_map(|form| NaiveTime::parse_from_str(&text, form).ok())
}

fn date_only(text: &str, order: DateOrder) -> Option<NaiveDate> {
    if let Some(date) = text.parse::<NaiveDate>().ok().and_then(sensible) {
        return Some(date);
    }
    let parts: Vec<&str> =
        text.split(['/', '-', '.', ' ', ',']).filter(|part| !part.is_empty()).collect();
    let [first, second, third] = parts.as_slice() else { return None };
    let number = |part: &str| part.parse::<u32>().ok();
    let numbered = |part: &str| {
        number(part.trim_end_matches(|letter: char| letter.is_alphabetic()))
            .filter(|_| part.starts_with(|letter: char| letter.is_ascii_digit()))
    };
    let (day, month, year_text) = match (month_name(first), month_name(second)) {
        (Some(month), _) => (numbered(second)?, month, third),
        (None, Some(month)) => (numbered(first)?, month, third),
        // A year in front settles the rest; a full stop is written where the day comes first.
        (None, None) if first.len() == 4 => {
            let date =
                NaiveDate::from_ymd_opt(first.parse().ok()?, number(second)?, number(third)?);
            return date.and_then(sensible);
        }
        (None, None) => match (text.contains('.'), order) {
            (true, _) | (false, DateOrder::DayFirst) => (number(first)?, number(second)?, third),
            (false, DateOrder::MonthFirst) => (number(second)?, number(first)?, third),
        },
    };
    let year: i32 = year_text.parse().ok()?;
    let year = match year_text.len() {
        2 if year >= CENTURY_TURNS_AT => 1900 + year,
        2 => 2000 + year,
        4 => year,
        _ => return None,
    };
    NaiveDate::from_ymd_opt(year, month, day).and_then(sensible)
}

/// A year that a boat's paper can have.
fn sensible(date: NaiveDate) -> Option<NaiveDate> {
    (1900..=2200).contains(&date.year()).then_some(date)
}

fn month_name(word: &str) -> Option<u32> {
    const MONTHS: [&str; 12] =
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
    let word = word.to_lowercase();
    let start: String = word.chars().take(3).collect();
    if start.len() < 3 || !word.chars().all(char::is_alphabetic) {
        return None;
    }
    (1..).zip(MONTHS).find(|(_, name)| *name == start).map(|(number, _)| number)
}

/// A spreadsheet's day number, in the 1900 system: day 25569 is 1 January 1970.
fn serial(text: &str) -> Option<(NaiveDate, Option<NaiveTime>)> {
    let value: f64 = text.parse().ok().filter(|value| SERIALS.contains(value))?;
    let seconds = ((value - 25_569.0) * 86_400.0).round();
    // Within the range above, so exact as a whole number.
    let at = DateTime::from_timestamp(format!("{seconds:.0}").parse().ok()?, 0)?.naive_utc();
    let time = (value.fract() != 0.0).then(|| at.time());
    Some((at.date(), time))
}

fn with_offset(text: &str) -> Option<DateTime<FixedOffset>> {
    let short = || DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M%:z").ok();
    DateTime::parse_from_rfc3339(text).ok().or_else(short)
}

/// Does a time say its own offset, so that no clock of a place is asked?
pub(super) fn has_offset(text: &str) -> bool {
    with_offset(text).is_some()
}

/// A moment: with its own offset, or as the clocks of `zone` show it; and whether the hour is known.
pub(super) fn moment(
    text: &str,
    order: DateOrder,
    zone: Option<Tz>,
) -> Option<(DateTime<FixedOffset>, bool)> {
    if let Some(at) = with_offset(text) {
        return Some((at, true));
    }
    // Spreadsheets write a day without an hour as midnight; nobody lays up a boat on the stroke of it.
    let (date, time) = wall(text, order)?;
    let time = time.filter(|time| *time != NaiveTime::MIN);
    let wall = date.and_time(time.unwrap_or(NaiveTime::from_hms_opt(12, 0, 0)?));
    let at = local_time::stated(zone?, wall)?;
    Some((at.fixed_offset(), time.is_some()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_in_the_forms_that_people_write() {
        let want = NaiveDate::from_ymd_opt(2022, 10, 3).unwrap();
        for text in [
            "2022-10-03",
            "10/3/2022",
            "10/03/22",
            "10-3-22",
            "3.10.2022",
            "3 Oct 2022",
            "3-Oct-22",
            "Oct 3, 2022",
            "October 3rd 2022",
            "2022/10/3",
            "44837",
            "3 october 2022",
        ] {
            assert_eq!(day(text, DateOrder::MonthFirst), Some(want), "{text}");
        }
        assert_eq!(day("3/10/2022", DateOrder::DayFirst), Some(want));
        for text in ["", "soon", "13/13/2022", "2022-02-30", "12", "1/2", "3 Octo", "99999999"] {
            assert_eq!(day(text, DateOrder::MonthFirst), None, "{text}");
        }
    }

    #[test]
    fn a_time_of_day_may_stand_behind() {
        let zone = Some(chrono_tz::America::New_York);
        for text in
            ["10/3/2022 14:30", "Oct 3, 2022 2:30 pm", "2022-10-03T14:30", "3.10.2022 2:30PM"]
        {
            let (at, hour) = moment(text, DateOrder::MonthFirst, zone).unwrap();
            assert_eq!(
                (at.to_rfc3339().as_str(), hour),
                ("2022-10-03T14:30:00-04:00", true),
                "{text}"
            );
        }
        let (at, hour) = moment("10/3/2022", DateOrder::MonthFirst, zone).unwrap();
        assert_eq!((at.to_rfc3339().as_str(), hour), ("2022-10-03T12:00:00-04:00", false));
        assert_eq!(moment("10/3/2022", DateOrder::MonthFirst, None), None, "no zone, no moment");
        assert_eq!(
            moment("3/12/2023 2:30", DateOrder::MonthFirst, zone),
            None,
            "the clock skips it"
        );
    }

    #[test]
    fn a_number_above_twelve_shows_the_order() {
        assert_eq!(order_shown("10/31/2022"), Some(DateOrder::MonthFirst));
        assert_eq!(order_shown("31/10/22 14:00"), Some(DateOrder::DayFirst));
        assert_eq!(order_shown("10/3/2022"), None);
        assert_eq!(order_shown("2022-10-03"), None);
        assert!(is_ambiguous("10/3/2022") && !is_ambiguous("10/10/2022"));
    }
}
