//! Cron lines in a named zone, once per local day over both clock changes.
//!
//! The expression is evaluated on the wall clock as if it were UTC, and the result is then placed in the zone: a wall
//! time that the clock skips moves to the first one that exists, a repeated one is taken the first time.

use std::str::FromStr;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::domain::local_time;

/// A checked schedule.
#[derive(Debug, Clone)]
pub struct Schedule(cron::Schedule);

impl Schedule {
    /// Five fields (minute, hour, day of month, month, day of week), weekdays by name only: numbers mean different
    /// days in different programs.
    ///
    /// # Errors
    /// What is wrong with the line, in words.
    pub fn parse(line: &str) -> Result<Self, String> {
        let fields: Vec<&str> = line.split_whitespace().collect();
        let [_, _, _, _, weekday] = fields.as_slice() else {
            return Err(format!(
                "a schedule has five fields (minute hour day month weekday), this has {}",
                fields.len()
            ));
        };
        if weekday.contains(|c: char| c.is_ascii_digit()) {
            return Err(
                "name weekdays (MON-FRI): numbers mean different days in different programs".into(),
            );
        }
        let schedule = cron::Schedule::from_str(&format!("0 {line}")).map_err(|error| {
            error.to_string().lines().last().unwrap_or_default().trim().to_owned()
        })?;
        // From a fixed day on, so that the answer is the same on every day; a 29 February comes.
        if schedule.after(&DateTime::<Utc>::UNIX_EPOCH).next().is_none() {
            return Err("this day never comes: no month has both that day and that name".into());
        }
        Ok(Self(schedule))
    }

    /// The first time after `instant` that the schedule falls due in `zone`.
    #[must_use]
    pub fn next_after(&self, instant: DateTime<Utc>, zone: Tz) -> Option<DateTime<Utc>> {
        let wall = instant.with_timezone(&zone).naive_local().and_utc();
        // A repeated or skipped hour can put the next wall time at or before the instant: then the one after counts.
        self.0
            .after(&wall)
            .map(|next| local_time::first(zone, next.naive_utc()))
            .find(|at| *at > instant)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::New_York;

    fn firings(line: &str, from: &str, to: &str) -> Vec<String> {
        let schedule = Schedule::parse(line).unwrap();
        let end: DateTime<Utc> = to.parse().unwrap();
        let mut at: DateTime<Utc> = from.parse().unwrap();
        let mut found = Vec::new();
        while let Some(next) = schedule.next_after(at, New_York).filter(|n| *n < end) {
            found.push(next.with_timezone(&New_York).format("%m-%d %H:%M %Z").to_string());
            at = next;
        }
        found
    }

    #[test]
    fn a_skipped_wall_time_moves_and_a_repeated_one_fires_once() {
        let spring = firings("30 2 * * *", "2023-03-11T12:00:00Z", "2023-03-14T00:00:00Z");
        assert_eq!(spring, ["03-12 03:00 EDT", "03-13 02:30 EDT"]);
        let autumn = firings("30 1 * * *", "2022-11-05T12:00:00Z", "2022-11-08T00:00:00Z");
        assert_eq!(autumn, ["11-06 01:30 EDT", "11-07 01:30 EST"]);
    }

    #[test]
    fn weekdays_are_named() {
        assert!(Schedule::parse("30 6 * * 1-5").unwrap_err().contains("MON-FRI"));
        assert!(Schedule::parse("30 6 * *").unwrap_err().contains("five fields"));
        assert!(Schedule::parse("61 6 * * MON").is_err());
        assert!(Schedule::parse("30 6 31 FEB *").unwrap_err().contains("never comes"));
        assert!(Schedule::parse("30 6 29 FEB *").is_ok());
        let worklist = firings("30 6 * * MON-FRI", "2022-11-04T00:00:00Z", "2022-11-08T12:00:00Z");
        assert_eq!(worklist, ["11-04 06:30 EDT", "11-07 06:30 EST", "11-08 06:30 EST"]);
    }
}
