//! The hours that have passed, as the forecasts of those days stood: what the parts have stood through until now.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::{Forecast, Step};

/// The hours of a place as the newest forecast in time for each of them had it. Fed with one forecast after another, in
/// any order, it ends the same (of two answers under one issue time the one taken last): each hour keeps the newest issue that was made before the hour ended.
///
/// These are forecasts, not measurements; observations take their place where there are any.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PastHours {
    hours: BTreeMap<DateTime<Utc>, (DateTime<Utc>, Step)>,
}

impl PastHours {
    /// Takes in what an issue says of the hours around its own time; what lies further ahead is left to later issues
    /// unless none comes.
    pub fn take(&mut self, forecast: &Forecast) {
        let issued = forecast.issued_at;
        for step in &forecast.steps {
            let in_time = issued < step.time + TimeDelta::hours(1);
            if step.temperature_c.is_none() || !in_time {
                continue;
            }
            let kept = self.hours.entry(step.time).or_insert((issued, *step));
            if kept.0 <= issued {
                *kept = (issued, *step);
            }
        }
    }

    /// Forgets everything before `from`.
    pub fn forget_before(&mut self, from: DateTime<Utc>) {
        self.hours = self.hours.split_off(&from);
    }

    /// Hour by hour from `from` (a whole hour) up to and without `until`; hours that nothing speaks for are empty.
    #[must_use]
    pub fn between(&self, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step> {
        let hours = (until - from).num_hours().max(0);
        (0..hours)
            .map(|hour| from + TimeDelta::hours(hour))
            .map(|time| self.hours.get(&time).map_or_else(|| Step::empty(time), |(_, step)| *step))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn issue(issued: &str, from: &str, temperatures: &[f64]) -> Forecast {
        let from: DateTime<Utc> = from.parse().unwrap();
        let steps = temperatures
            .iter()
            .enumerate()
            .map(|(h, t)| Step {
                temperature_c: Some(*t),
                ..Step::empty(from + TimeDelta::hours(i64::try_from(h).unwrap()))
            })
            .collect();
        Forecast {
            service: "test".into(),
            issued_at: issued.parse().unwrap(),
            cell_elevation_m: None,
            steps,
            minima: vec![],
            members: vec![],
            missing: 0,
            warnings: vec![],
        }
    }

    #[test]
    fn each_hour_comes_from_the_newest_issue_before_it() {
        let old = issue("2022-11-20T00:30:00Z", "2022-11-20T00:00:00Z", &[1.0; 6]);
        let new = issue("2022-11-20T03:10:00Z", "2022-11-20T02:00:00Z", &[9.0; 4]);
        let from = "2022-11-20T00:00:00Z".parse().unwrap();
        let until = "2022-11-20T07:00:00Z".parse().unwrap();
        let mut forward = PastHours::default();
        let mut backward = PastHours::default();
        forward.take(&old);
        forward.take(&new);
        backward.take(&new);
        backward.take(&old);
        assert_eq!(forward, backward);
        let past = forward.between(from, until);
        let temperatures: Vec<_> = past.iter().map(|s| s.temperature_c).collect();
        // The issue of 03:10 came too late for the hour that began at 02:00, in time for the one from 03:00.
        let expected = [1.0, 1.0, 1.0, 9.0, 9.0, 9.0].map(Some);
        assert_eq!(temperatures[..6], expected);
        assert_eq!(temperatures[6], None);
    }
}
