//! From the clocks of a place to an instant: the only place that knows about hours that the clocks skip or show twice.
//!
//! One rule. What the clocks skip is the moment of the jump: from then on they show that time as past, and nobody ever saw it
//! shown. What they show twice is, for a time by which something is due or from which something begins, the first of the two
//! ([`first`]): too early costs an hour's wait, too late may cost an engine. Where the later one is the careful side (an
//! entry or a date that undoes what protects: it must come after what it undoes) it is the second ([`last`]). A time that
//! somebody states and that the clocks skip is no time: whoever wrote it is asked ([`stated`]).

use chrono::{DateTime, LocalResult, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

/// Within so many seconds of its reading as UTC a skipped time is skipped: the widest offset, and a whole day where a place
/// changed sides of the date line.
const WITHIN_S: i64 = 48 * 3600;

/// The first instant from which the clocks show `wall` as reached: the first of two, the jump where they skip it.
#[must_use]
pub fn first(zone: Tz, wall: NaiveDateTime) -> DateTime<Utc> {
    match zone.from_local_datetime(&wall) {
        LocalResult::Single(at) | LocalResult::Ambiguous(at, _) => at.to_utc(),
        LocalResult::None => jump(zone, wall),
    }
}

/// The last instant at which the clocks show `wall`: the second of two, the jump where they skip it.
#[must_use]
pub fn last(zone: Tz, wall: NaiveDateTime) -> DateTime<Utc> {
    match zone.from_local_datetime(&wall) {
        LocalResult::Single(at) | LocalResult::Ambiguous(_, at) => at.to_utc(),
        LocalResult::None => jump(zone, wall),
    }
}

/// A time as somebody states it, with the offset that it had: the first of two; `None` where the clocks skip it.
#[must_use]
pub fn stated(zone: Tz, wall: NaiveDateTime) -> Option<DateTime<Tz>> {
    match zone.from_local_datetime(&wall) {
        LocalResult::Single(at) | LocalResult::Ambiguous(at, _) => Some(at),
        LocalResult::None => None,
    }
}

/// When a day begins: at its midnight, or when the clocks jump over it. A day that a place left out begins with the next.
#[must_use]
pub fn day_start(zone: Tz, date: NaiveDate) -> DateTime<Utc> {
    first(zone, date.and_time(NaiveTime::MIN))
}

/// The instant at which the clocks jump over `wall`: found by halving, to the second.
fn jump(zone: Tz, wall: NaiveDateTime) -> DateTime<Utc> {
    let at = |second: i64| DateTime::from_timestamp(second, 0).unwrap_or(wall.and_utc());
    let read = wall.and_utc().timestamp();
    let (mut before, mut after) = (read - WITHIN_S, read + WITHIN_S);
    while after - before > 1 {
        let middle = i64::midpoint(before, after);
        if at(middle).with_timezone(&zone).naive_local() < wall {
            before = middle;
        } else {
            after = middle;
        }
    }
    at(after)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First and last instant of a wall time, and whether it is taken from somebody who states it.
    fn read(zone: Tz, wall: &str) -> (String, String, bool) {
        let wall: NaiveDateTime = wall.parse().unwrap();
        let text = |at: DateTime<Utc>| at.format("%m-%dT%H:%M:%S").to_string();
        let (first, last) = (super::first(zone, wall), super::last(zone, wall));
        if let Some(at) = stated(zone, wall) {
            assert_eq!((at.naive_local(), at.to_utc()), (wall, first));
        }
        (text(first), text(last), stated(zone, wall).is_some())
    }

    fn found(first: &str, last: &str, stated: bool) -> (String, String, bool) {
        (first.to_owned(), last.to_owned(), stated)
    }

    #[test]
    fn a_skipped_time_is_the_jump_in_north_and_south() {
        let jump = |at: &str| found(at, at, false);
        let york = Tz::America__New_York;
        for wall in ["2023-03-12T02:00:00", "2023-03-12T02:30:00", "2023-03-12T02:59:59"] {
            assert_eq!(read(york, wall), jump("03-12T07:00:00"), "{wall}");
        }
        assert_eq!(read(Tz::Europe__Oslo, "2023-03-26T02:30:00"), jump("03-26T01:00:00"));
        assert_eq!(read(Tz::Australia__Hobart, "2023-10-01T02:30:00"), jump("09-30T16:00:00"));
        // Half an hour only.
        assert_eq!(read(Tz::Australia__Lord_Howe, "2023-10-01T02:15:00"), jump("09-30T15:30:00"));
    }

    #[test]
    fn a_doubled_time_is_the_first_or_the_last_in_north_and_south() {
        let york = read(Tz::America__New_York, "2023-11-05T01:30:00");
        assert_eq!(york, found("11-05T05:30:00", "11-05T06:30:00", true));
        let hobart = read(Tz::Australia__Hobart, "2023-04-02T02:30:00");
        assert_eq!(hobart, found("04-01T15:30:00", "04-01T16:30:00", true));
        let howe = read(Tz::Australia__Lord_Howe, "2023-04-02T01:45:00");
        assert_eq!(howe, found("04-01T14:45:00", "04-01T15:15:00", true));
    }

    #[test]
    fn days_begin_where_midnight_is_skipped_or_shown_twice_and_on_the_date_line() {
        let start = |zone, date: &str| {
            day_start(zone, date.parse().unwrap()).format("%m-%dT%H:%M").to_string()
        };
        assert_eq!(
            start(Tz::America__Santiago, "2023-09-03"),
            "09-03T04:00",
            "midnight is skipped"
        );
        assert_eq!(start(Tz::America__Havana, "2023-11-05"), "11-05T04:00", "midnight comes twice");
        assert_eq!(
            start(Tz::Pacific__Auckland, "2023-09-24"),
            "09-23T12:00",
            "before its own jump"
        );
        // Samoa left out 30 December 2011.
        let apia = Tz::Pacific__Apia;
        assert_eq!(start(apia, "2011-12-29"), "12-29T10:00");
        assert_eq!(start(apia, "2011-12-30"), "12-30T10:00");
        assert_eq!(start(apia, "2011-12-31"), "12-30T10:00");
        assert_eq!(
            read(apia, "2011-12-30T12:00:00"),
            found("12-30T10:00:00", "12-30T10:00:00", false)
        );
    }

    #[test]
    fn instants_never_run_backwards_as_wall_time_goes_on() {
        for (zone, from) in [
            (Tz::America__New_York, "2023-03-11T12:00:00"),
            (Tz::America__New_York, "2023-11-04T12:00:00"),
            (Tz::Australia__Hobart, "2023-09-30T12:00:00"),
            (Tz::Australia__Hobart, "2023-04-01T12:00:00"),
            (Tz::Pacific__Apia, "2011-12-28T12:00:00"),
        ] {
            let from: NaiveDateTime = from.parse().unwrap();
            let walls = || (0..4 * 24 * 12).map(|k| from + chrono::TimeDelta::minutes(5 * k));
            for pair in walls().zip(walls().skip(1)).map(|(a, b)| [a, b]) {
                let [a, b] = pair.map(|wall| (super::first(zone, wall), super::last(zone, wall)));
                assert!(a.0 <= b.0 && a.1 <= b.1 && a.0 <= a.1, "{zone}: {pair:?}");
                // From `first` on the clocks show it as reached, and never before.
                let local = |at: DateTime<Utc>| at.with_timezone(&zone).naive_local();
                assert!(local(a.0) >= pair[0]);
                assert!(local(a.0 - chrono::TimeDelta::seconds(1)) < pair[0], "{zone} {pair:?}");
            }
        }
    }
}
