//! Read models: what can be known of a boat, a place, the worklist, the plan, an alert, the service, as plain serialisable data.
//! `--json` prints them, letters are filled from them, pages show them. They know the quiet wing only.
//!
//! Times are RFC 3339 with the offset of the place, temperatures are `*_c`, chances 0 to 1, durations `*_s`, `*_h` or minutes.
//! Their shapes are pinned by `tests/schema`.

pub mod alert;
pub mod boat;
pub mod health;
pub mod place;
pub mod plan;
pub mod worklist;

use chrono::{DateTime, SecondsFormat, Utc};
use chrono_tz::Tz;

/// A time as documents state it: RFC 3339 with the offset of the zone, fractions where there are some.
#[must_use]
pub fn local(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).to_rfc3339()
}

/// The same in whole seconds.
#[must_use]
pub fn local_seconds(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).to_rfc3339_opts(SecondsFormat::Secs, false)
}

/// Rounded to a ten-thousandth: more digits would only look exact.
#[must_use]
pub fn tidy(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}
