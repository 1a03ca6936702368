//! Cold notices of an official weather service for a place: shown beside our own figures, never an input to them. That there
//! is none says nothing, since most offices issue them in the growing season only.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

/// Warmer than this through the whole time of a notice, our own forecast does not show it, C: frost on a roof comes at
/// about 2 C in the shelter of a thermometer (common practice).
const NOT_SHOWN_ABOVE_C: f64 = 2.0;

/// One notice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Official {
    /// What the service calls it.
    pub event: String,
    /// Who issued it.
    pub office: String,
    /// When the hazard begins; the past where it has begun.
    pub onset: DateTime<Utc>,
    /// When the hazard ends, which is not when the message expires.
    pub ends: DateTime<Utc>,
}

impl Official {
    /// Does our own forecast, hours with a temperature in C, show nothing of it? Only asked of hours that it has.
    #[must_use]
    pub fn is_not_shown(&self, hours: impl Iterator<Item = (DateTime<Utc>, f64)>) -> bool {
        let hour = TimeDelta::hours(1);
        let within = hours.filter(|(at, _)| *at + hour > self.onset && *at < self.ends);
        within.map(|(_, t)| t).min_by(f64::total_cmp).is_some_and(|low| low > NOT_SHOWN_ABOVE_C)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_notice_that_our_forecast_does_not_show_is_told_apart() {
        let at = |hour: i64| DateTime::<Utc>::UNIX_EPOCH + TimeDelta::hours(hour);
        let notice = Official {
            event: "Freeze Warning".into(),
            office: "NWS Gray ME".into(),
            onset: at(6),
            ends: at(14),
        };
        let hours = |t: f64| (0..24).map(move |hour| (at(hour), t));
        assert!(notice.is_not_shown(hours(5.0)) && !notice.is_not_shown(hours(-1.0)));
        // Cold before and after says nothing of the time in between.
        let warm_within = (0..24).map(|h| (at(h), if (6..14).contains(&h) { 6.0 } else { -4.0 }));
        assert!(notice.is_not_shown(warm_within));
        assert!(!notice.is_not_shown(std::iter::empty()), "no hours, no verdict");
    }
}
