//! The hours that have passed, as the forecasts of those days stood: what the parts have stood through until now.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Forecast, Step};

/// Hour by hour from `from` (a whole hour) up to and without `until`: each hour from the newest of `forecasts` that
/// was issued before it ended and has it. Hours that nothing speaks for stay empty.
///
/// These are forecasts, not measurements; observations take their place where there are any.
#[must_use]
pub fn stitch(forecasts: &[Forecast], from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step> {
    let hours = usize::try_from((until - from).num_hours().max(0)).unwrap_or(0);
    let mut past: Vec<(DateTime<Utc>, Step)> = (0..hours)
        .map(|h| {
            let time = from + TimeDelta::hours(i64::try_from(h).unwrap_or(i64::MAX));
            (DateTime::<Utc>::MIN_UTC, Step::empty(time))
        })
        .collect();
    for forecast in forecasts {
        for step in &forecast.steps {
            let index = (step.time - from).num_hours();
            let Some((issued, hour)) = usize::try_from(index).ok().and_then(|i| past.get_mut(i))
            else {
                continue;
            };
            let in_time = forecast.issued_at < step.time + TimeDelta::hours(1);
            if step.time == hour.time
                && step.temperature_c.is_some()
                && in_time
                && *issued < forecast.issued_at
            {
                *issued = forecast.issued_at;
                *hour = *step;
            }
        }
    }
    past.into_iter().map(|(_, step)| step).collect()
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
            missing: 0,
            warnings: vec![],
        }
    }

    #[test]
    fn each_hour_comes_from_the_newest_issue_before_it() {
        let old = issue("2022-11-20T00:30:00Z", "2022-11-20T00:00:00Z", &[1.0; 6]);
        let new = issue("2022-11-20T03:10:00Z", "2022-11-20T02:00:00Z", &[9.0; 4]);
        let from = "2022-11-20T00:00:00Z".parse().unwrap();
        let past = stitch(&[new, old], from, "2022-11-20T07:00:00Z".parse().unwrap());
        let temperatures: Vec<_> = past.iter().map(|s| s.temperature_c).collect();
        // The issue of 03:10 came too late for the hour that began at 02:00, in time for the one from 03:00.
        let expected = [1.0, 1.0, 1.0, 9.0, 9.0, 9.0].map(Some);
        assert_eq!(temperatures[..6], expected);
        assert_eq!(temperatures[6], None);
    }
}
