//! ISO 8601 intervals as weather services write them: `start/duration`, `start/end` or `duration/end`.
//!
//! Days in a duration are 24 hours, weeks seven such days: the stamps are UTC. Years and months have no fixed length
//! and are refused.

use chrono::{DateTime, TimeDelta, Utc};

/// Longest text that is looked at.
const TEXT_BYTES_MAX: usize = 100;

/// A half-open stretch of time `[start, end)` with `end` after `start`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interval {
    /// First instant.
    pub start: DateTime<Utc>,
    /// First instant after it.
    pub end: DateTime<Utc>,
}

impl Interval {
    /// Reads an interval; `NOW` in place of a stamp stands for `now`. `None` for anything else, and for an interval
    /// that is empty or runs backwards.
    #[must_use]
    pub fn parse(text: &str, now: DateTime<Utc>) -> Option<Self> {
        if text.len() > TEXT_BYTES_MAX {
            return None;
        }
        let (left, right) = text.split_once('/')?;
        let (start, end) = if left.starts_with('P') {
            let end = stamp(right, now)?;
            (end.checked_sub_signed(duration(left)?)?, end)
        } else if right.starts_with('P') {
            let start = stamp(left, now)?;
            (start, start.checked_add_signed(duration(right)?)?)
        } else {
            (stamp(left, now)?, stamp(right, now)?)
        };
        (end > start).then_some(Self { start, end })
    }

    /// The whole hours that it touches, as hours since 1970: the first, and the first after the last.
    #[must_use]
    pub fn hours(self) -> (i64, i64) {
        let end_s = self.end.timestamp();
        let whole = end_s.div_euclid(3600);
        let last = if end_s.rem_euclid(3600) > 0 { whole.saturating_add(1) } else { whole };
        (self.start.timestamp().div_euclid(3600), last)
    }
}

/// An RFC 3339 stamp with offset, or `NOW`.
fn stamp(text: &str, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    if text == "NOW" {
        return Some(now);
    }
    DateTime::parse_from_rfc3339(text).ok().map(|t| t.with_timezone(&Utc))
}

/// `P[nW][nD][T[nH][nM][nS]]`, whole numbers, at least one part.
#[must_use]
pub fn duration(text: &str) -> Option<TimeDelta> {
    let mut rest = text.strip_prefix('P')?;
    let mut in_time = false;
    let mut total_s: i64 = 0;
    let mut parts = 0;
    while !rest.is_empty() {
        if let Some(after) = rest.strip_prefix('T') {
            if in_time || after.is_empty() {
                return None;
            }
            in_time = true;
            rest = after;
            continue;
        }
        let unit_at = rest.find(|c: char| !c.is_ascii_digit())?;
        let (number, tail) = rest.split_at_checked(unit_at)?;
        let mut letters = tail.chars();
        let unit_s: i64 = match (in_time, letters.next()?) {
            (false, 'W') => 604_800,
            (false, 'D') => 86_400,
            (true, 'H') => 3_600,
            (true, 'M') => 60,
            (true, 'S') => 1,
            _ => return None,
        };
        let number: i64 = number.parse().ok()?;
        total_s = total_s.checked_add(number.checked_mul(unit_s)?)?;
        parts += 1;
        rest = letters.as_str();
    }
    if parts == 0 { None } else { TimeDelta::try_seconds(total_s) }
}

/// Writes whole hours the way the US service does: `PT5H`, `P1D`, `P1DT3H`.
#[must_use]
pub fn write_hours(hours: u32) -> String {
    match (hours / 24, hours % 24) {
        (0, h) => format!("PT{h}H"),
        (d, 0) => format!("P{d}D"),
        (d, h) => format!("P{d}DT{h}H"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        DateTime::parse_from_rfc3339(text).unwrap().with_timezone(&Utc)
    }

    #[test]
    fn durations_with_days_are_read() {
        let check = |text: &str, hours: Option<i64>| {
            assert_eq!(duration(text).map(|d| d.num_hours()), hours, "{text}");
        };
        check("PT1H", Some(1));
        check("P1D", Some(24));
        check("P3DT10H", Some(82));
        check("P7DT14H", Some(182));
        check("P1W", Some(168));
        check("PT90M", Some(1));
        for broken in ["", "P", "PT", "1H", "P1M", "P1Y", "PT1D", "PH", "PT1HT1H", "P-1D", "PT1.5H"]
        {
            check(broken, None);
        }
        check("P99999999999999999999D", None);
        check("P9223372036854775807W", None);
    }

    #[test]
    fn written_hours_read_back() {
        for hours in 1..400 {
            assert_eq!(duration(&write_hours(hours)).unwrap().num_hours(), i64::from(hours));
        }
    }

    #[test]
    fn all_three_forms_of_an_interval_are_read() {
        let now = at("2022-12-01T00:00:00Z");
        let expect =
            Interval { start: at("2022-12-01T06:00:00Z"), end: at("2022-12-01T09:00:00Z") };
        for text in [
            "2022-12-01T06:00:00+00:00/PT3H",
            "2022-12-01T01:00:00-05:00/2022-12-01T09:00:00Z",
            "PT3H/2022-12-01T09:00:00Z",
        ] {
            assert_eq!(Interval::parse(text, now), Some(expect), "{text}");
        }
        assert_eq!(Interval::parse("NOW/PT1H", now).unwrap().start, now);
        for broken in ["2022-12-01T06:00:00Z", "2022-12-01T06:00:00Z/PT0H", "x/PT1H", "/"] {
            assert_eq!(Interval::parse(broken, now), None, "{broken}");
        }
    }

    #[test]
    fn a_part_of_an_hour_touches_the_whole_hour() {
        let now = at("2022-12-01T00:00:00Z");
        let hours = |text: &str| {
            let (from, to) = Interval::parse(text, now).unwrap().hours();
            to - from
        };
        assert_eq!(hours("2022-12-01T06:30:00Z/PT1H"), 2);
        assert_eq!(hours("2022-12-01T06:30:00Z/PT10M"), 1);
        assert_eq!(hours("2022-12-01T06:00:00Z/PT1H"), 1);
    }
}
