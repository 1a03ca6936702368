//! Numbers, times and names as people read them.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::domain::units::{
    Celsius, TemperatureScale, in_both_scales, kelvin_as_fahrenheit, work_time,
};

/// Longest boat name in running text.
pub const NAME_LETTERS: usize = 40;

/// A person's text on one line: control characters, line breaks and marks that turn the reading direction become spaces
/// or go, spaces are folded, and it ends after `letters` characters.
#[must_use]
pub fn one_line(text: &str, letters: usize) -> String {
    let kept: String = text
        .chars()
        .filter(|c| !is_invisible(*c))
        .map(|c| if c.is_control() || c.is_whitespace() { ' ' } else { c })
        .collect();
    shorten(&kept.split_whitespace().collect::<Vec<_>>().join(" "), letters)
}

/// Marks of direction and zero width (Unicode TR 36: they make one text look like another). The joiner of emoji stays.
const fn is_invisible(c: char) -> bool {
    matches!(
        c,
        '\u{ad}'
            | '\u{61c}'
            | '\u{200b}'
            | '\u{200c}'
            | '\u{200e}'
            | '\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}'
            | '\u{feff}'
    )
}

/// Cut to `letters` characters, the last of them an ellipsis where something was cut.
#[must_use]
pub fn shorten(text: &str, letters: usize) -> String {
    if text.chars().count() <= letters {
        return text.to_owned();
    }
    let cut: String = text.chars().take(letters.saturating_sub(1)).collect();
    format!("{}\u{2026}", cut.trim_end())
}

/// A name for people, never blank.
#[must_use]
pub fn name(text: &str) -> String {
    let name = one_line(text, NAME_LETTERS);
    if name.is_empty() { "boat without a name".to_owned() } else { name }
}

/// `21 F (-6 C)`.
#[must_use]
pub fn temperature(celsius: f64, first: TemperatureScale) -> String {
    in_both_scales(Celsius::clamped(celsius), first)
}

/// `17 to 26 F (-8 to -3 C)`: each end converted unrounded, then rounded.
#[must_use]
pub fn temperature_range(low_c: f64, high_c: f64, first: TemperatureScale) -> String {
    let c = format!("{} to {} C", whole(low_c), whole(high_c));
    let fahrenheit = |celsius: f64| whole(Celsius::clamped(celsius).as_fahrenheit());
    let f = format!("{} to {} F", fahrenheit(low_c), fahrenheit(high_c));
    match first {
        TemperatureScale::F => format!("{f} ({c})"),
        TemperatureScale::C => format!("{c} ({f})"),
    }
}

/// `6 F (3 C)` for a difference, without the 32; the amount only.
#[must_use]
pub fn difference(kelvin: f64, first: TemperatureScale) -> String {
    let (f, c) = (whole(kelvin_as_fahrenheit(kelvin).abs()), whole(kelvin.abs()));
    match first {
        TemperatureScale::F => format!("{f} F ({c} C)"),
        TemperatureScale::C => format!("{c} C ({f} F)"),
    }
}

fn whole(value: f64) -> String {
    let rounded = value.round();
    format!("{}", if rounded == 0.0 { 0.0 } else { rounded })
}

/// `Fri 17:00`, with the date where the weekday alone could mean another week: `Fri 18 Nov 17:00`.
#[must_use]
pub fn short_time(instant: DateTime<Utc>, now: DateTime<Utc>, zone: Tz) -> String {
    let near = instant >= now && instant - now < TimeDelta::days(6);
    let form = if near { "%a %H:%M" } else { "%a %-d %b %H:%M" };
    instant.with_timezone(&zone).format(form).to_string()
}

/// `Friday 18 Nov 17:00`.
#[must_use]
pub fn long_time(instant: DateTime<Utc>, zone: Tz) -> String {
    instant.with_timezone(&zone).format("%A %-d %b %H:%M").to_string()
}

/// `Fri 18 Nov 17:00`.
#[must_use]
pub fn dated_time(instant: DateTime<Utc>, zone: Tz) -> String {
    instant.with_timezone(&zone).format("%a %-d %b %H:%M").to_string()
}

/// `Fri 18 Nov`.
#[must_use]
pub fn day(instant: DateTime<Utc>, zone: Tz) -> String {
    instant.with_timezone(&zone).format("%a %-d %b").to_string()
}

/// `EST, America/New_York`.
#[must_use]
pub fn zone_name(instant: DateTime<Utc>, zone: Tz) -> String {
    format!("{}, {}", instant.with_timezone(&zone).format("%Z"), zone.name())
}

/// `20 min`, `2 h 40 min`: minutes of work, rounded up to 5.
#[must_use]
pub fn work(minutes: f64) -> String {
    work_time(work_minutes(minutes))
}

/// Minutes of work as they are told: rounded up to 5, 5 or more.
#[must_use]
pub fn work_minutes(minutes: f64) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to 0..=1e6 before"
    )]
    let fives = (minutes.clamp(0.0, 1.0e6) / 5.0).ceil() as u32;
    (fives * 5).max(5)
}

/// The fuel of a boat as the mails call it.
#[must_use]
pub fn fuel(fuel: &str) -> &str {
    if fuel == "petrol" { "gasoline" } else { fuel }
}

/// An instant, earlier to a whole five minutes: a latest start must not be told later than it is.
#[must_use]
pub fn to_five_minutes(instant: DateTime<Utc>) -> DateTime<Utc> {
    let over = instant.timestamp_millis().rem_euclid(300_000);
    instant - TimeDelta::milliseconds(over)
}

/// `7 h`: an age, in whole hours, `under 1 h`, or days from two days on.
#[must_use]
pub fn age(span: TimeDelta) -> String {
    match span.num_hours() {
        ..1 => "under 1 h".to_owned(),
        hours @ 1..48 => format!("{hours} h"),
        hours => format!("{} days", hours / 24),
    }
}

/// `1 boat`, `3 boats`.
#[must_use]
pub fn count(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// `a`, `a and b`, `a, b and c`, `a, b and 3 more`.
#[must_use]
pub fn list(items: &[String], most: usize) -> String {
    let shown = items.get(..most.min(items.len())).unwrap_or(items);
    let more = items.len().saturating_sub(shown.len());
    let mut all: Vec<String> = shown.to_vec();
    if more > 0 {
        all.push(format!("{more} more"));
    }
    match all.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hostile_name_stays_on_one_line_and_reads_one_way() {
        for (raw, clean) in [
            ("Two\r\nBcc: x@example.org", "Two Bcc: x@example.org"),
            ("Nor\u{202e}ma\u{200f}l", "Normal"),
            ("  wide \t space ", "wide space"),
            ("", ""),
        ] {
            assert_eq!(one_line(raw, 40), clean);
        }
        assert_eq!(one_line(&"x".repeat(99), 10).chars().count(), 10);
        assert_eq!(name("\u{200b}\n"), "boat without a name");
    }

    #[test]
    fn a_difference_of_temperatures_converts_without_the_32() {
        assert_eq!(difference(-3.0, TemperatureScale::F), "5 F (3 C)");
        assert_eq!(temperature_range(-8.3, -3.3, TemperatureScale::F), "17 to 26 F (-8 to -3 C)");
    }

    #[test]
    fn work_is_rounded_up_to_five_minutes() {
        for (minutes, words) in
            [(0.0, "5 min"), (18.0, "20 min"), (60.0, "1 h"), (161.0, "2 h 45 min")]
        {
            assert_eq!(work(minutes), words);
        }
    }

    #[test]
    fn lists_read_as_people_write_them() {
        let items: Vec<String> = ["a", "b", "c"].map(String::from).to_vec();
        assert_eq!(list(&items[..1], 3), "a");
        assert_eq!(list(&items, 3), "a, b and c");
        assert_eq!(list(&items, 1), "a and 2 more");
    }
}
