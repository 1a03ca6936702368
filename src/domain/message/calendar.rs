//! A calendar entry for a block of work (RFC 5545, RFC 7986): published, no invitation, with two reminders.

use chrono::{DateTime, Duration, Utc};
use icalendar::{Alarm, Calendar, Component, Event, EventLike, EventStatus, Property};

/// Reminders before the start: two days and three hours.
const REMINDERS: [Duration; 2] = [Duration::days(2), Duration::hours(3)];

/// A block of work at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkBlock {
    /// The same for every revision; no personal data.
    pub uid: String,
    /// Counts up with every revision.
    pub sequence: u32,
    /// When it was written.
    pub written: DateTime<Utc>,
    /// Start.
    pub start: DateTime<Utc>,
    /// End.
    pub end: DateTime<Utc>,
    /// Such as `Marigold: finish lay-up`.
    pub what: String,
    /// Where.
    pub place: String,
}

/// The entry as a calendar, lines folded and ended as the standard asks. Times are in UTC.
#[must_use]
pub fn calendar(block: &WorkBlock) -> String {
    let mut event = Event::with_uid(&block.uid);
    event
        .timestamp(block.written)
        .last_modified(block.written)
        .sequence(block.sequence)
        .summary(&block.what)
        .location(&block.place)
        .starts(block.start)
        .ends(block.end)
        // It takes no time away from anything else in the calendar.
        .add_property("TRANSP", "TRANSPARENT");
    event.status(EventStatus::Tentative);
    for (number, before) in REMINDERS.into_iter().enumerate() {
        let mut alarm = Alarm::display(&block.what, -before);
        alarm.add_property("UID", format!("{number}.{}", block.uid));
        event.alarm(alarm);
    }
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", "-//rimeward//freeze desk//EN"))
        .append_property(Property::new("METHOD", "PUBLISH"))
        .push(event.done());
    without_alarm_stamps(&calendar.to_string())
}

/// The library stamps every part with its own clock; a reminder has no stamp (RFC 5545, 3.6.6), and ours come from the
/// letter.
fn without_alarm_stamps(text: &str) -> String {
    let mut in_alarm = false;
    let mut kept = String::with_capacity(text.len());
    for line in text.split_inclusive("\r\n") {
        in_alarm = match line.trim_end() {
            "BEGIN:VALARM" => true,
            "END:VALARM" => false,
            _ => in_alarm,
        };
        if !(in_alarm && line.starts_with("DTSTAMP")) {
            kept.push_str(line);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_keeps_to_the_standard_and_to_the_letters_own_times() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let block = WorkBlock {
            uid: "deadline-B08-1@example.org".to_owned(),
            sequence: 2,
            written: at("2022-10-02T18:07:00Z"),
            start: at("2022-10-08T14:00:00Z"),
            end: at("2022-10-08T16:30:00Z"),
            what: "Z\u{f6}e's boat, the long one; with commas: finish lay-up before the first frost comes".to_owned(),
            place: "Larkspur Barn".to_owned(),
        };
        let text = calendar(&block);
        assert_eq!(text, calendar(&block), "no clock but the letter's");
        assert_eq!(text.matches("DTSTAMP:20221002T180700Z").count(), 1, "{text}");
        assert_eq!(text.matches("DTSTAMP").count(), 1, "{text}");
        for wanted in [
            "BEGIN:VCALENDAR\r\n",
            "METHOD:PUBLISH\r\n",
            "DTSTART:20221008T140000Z\r\n",
            "DTEND:20221008T163000Z\r\n",
            "SEQUENCE:2\r\n",
            "TRIGGER:-PT172800S\r\n",
            "TRANSP:TRANSPARENT\r\n",
            "UID:deadline-B08-1@example.org\r\n",
            "boat\\, the long one\\; with",
        ] {
            assert!(text.contains(wanted), "{wanted} is not in {text}");
        }
        // RFC 5545, 3.1: lines of 75 octets at most, ended by CR and LF.
        assert!(text.split("\r\n").all(|line| line.len() <= 75 && !line.contains('\n')), "{text}");
    }
}
