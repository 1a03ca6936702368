//! The one clock: what time it is, and waiting for a time.

use std::time::Duration;

use chrono::{DateTime, Utc};

use crate::app::ports::Clock;

/// The longest single sleep. After it the clock is read again, so that a suspend of the machine or a step of its clock
/// is seen within this time.
const SLEEP_MOST: Duration = Duration::from_secs(60);

/// Says what time it is. Everything else takes the instant as an argument.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "the one place that owns the clock")]
    fn now(&self) -> DateTime<Utc> {
        DateTime::<Utc>::from(std::time::SystemTime::now())
    }
}

impl SystemClock {
    /// Sleeps until `until`, or for a minute if that is longer: whoever waits looks at the clock again afterwards.
    #[expect(clippy::disallowed_methods, reason = "the one place that sleeps")]
    pub async fn sleep_towards(self, until: DateTime<Utc>) {
        tokio::time::sleep(nap(self.now(), until)).await;
    }
}

/// How long one sleep towards `until` takes.
fn nap(now: DateTime<Utc>, until: DateTime<Utc>) -> Duration {
    (until - now).to_std().unwrap_or_default().min(SLEEP_MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sleep_is_never_longer_than_a_minute_and_never_negative() {
        let now: DateTime<Utc> = "2023-01-13T12:00:00Z".parse().unwrap();
        for (until, seconds) in [
            ("2023-01-13T12:00:20Z", 20),
            ("2023-01-13T18:00:00Z", 60),
            ("2023-01-13T11:00:00Z", 0),
            ("1970-01-01T00:00:00Z", 0),
        ] {
            assert_eq!(nap(now, until.parse().unwrap()), Duration::from_secs(seconds), "{until}");
        }
    }
}
