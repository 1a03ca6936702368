//! Times on the command line.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use chrono_tz::Tz;

use super::outcome::CliError;
use crate::domain::local_time;

/// Reads a time: RFC 3339, or a date and a time of the place (`2023-02-02T06:30`), or a date alone (midnight).
///
/// # Errors
/// Words that say which forms are read.
pub fn parse_time(text: &str, zone: Tz) -> Result<DateTime<Utc>, CliError> {
    if let Ok(at) = DateTime::parse_from_rfc3339(text) {
        return Ok(at.to_utc());
    }
    let wall = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
        .or_else(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()?.and_hms_opt(0, 0, 0));
    match wall {
        Some(wall) => at_wall(wall, zone),
        None => Err(CliError::bad_input(format!(
            "{text:?} is not a time; write 2023-02-02T06:30 (time of the place) or 2023-02-02T06:30:00-05:00"
        ))),
    }
}

/// The instant at which the clocks of the place show a time that somebody has stated.
pub(super) fn at_wall(wall: NaiveDateTime, zone: Tz) -> Result<DateTime<Utc>, CliError> {
    let at = local_time::stated(zone, wall).ok_or_else(|| {
        CliError::bad_input(format!(
            "{} does not exist in {zone}: the clock skips it; give another minute or an offset",
            wall.format("%Y-%m-%dT%H:%M")
        ))
    })?;
    Ok(at.to_utc())
}
