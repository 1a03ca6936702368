//! The one clock.

use chrono::{DateTime, Utc};

/// Says what time it is. Everything else takes the instant as an argument.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl SystemClock {
    /// The present, by the machine's clock.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place that owns the clock")]
    pub fn now(self) -> DateTime<Utc> {
        DateTime::<Utc>::from(std::time::SystemTime::now())
    }
}
