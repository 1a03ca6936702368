//! The fitted spread of a point forecast, hour by hour: each night's hours take that of its low, each day's that of its
//! high, in the situation that the forecast itself shows: the fall from the day before, the rise after, the sky.

use chrono::Datelike;

use super::super::error_table::{ErrorTable, Kind};
use super::super::errors::ErrorModel;
use super::super::fitted::{Situation, Sky};
use super::super::{Forecast, Step, sun};
use super::Spot;

/// Wind from which a night counts as windy, m/s (the bulletins' word begins at about 9 m/s, from memory).
const WINDY_MS: f64 = 9.0;
/// Cloud below which the sky is clear, and from which it is covered (usual eighths: 2 and 7).
const CLEAR: f64 = 0.3;
const COVERED: f64 = 0.85;

/// Standard deviation in K for each step of `forecast`; hours without a temperature have the default's.
#[must_use]
pub fn fitted_sd_k(table: &ErrorTable, forecast: &Forecast, spot: Spot) -> Vec<f64> {
    let default = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
    let mut runs: Vec<(Kind, &[Step])> = Vec::new();
    let kind = |step: &Step| {
        if sun::is_night(step.time, spot.latitude, spot.longitude) { Kind::Low } else { Kind::High }
    };
    for run in forecast.steps.chunk_by(|a, b| kind(a) == kind(b)) {
        if let Some(first) = run.first() {
            runs.push((kind(first), run));
        }
    }
    let extremes: Vec<Option<(f64, f64)>> = runs.iter().map(|run| extreme(run, forecast)).collect();
    let mut all = Vec::with_capacity(forecast.steps.len());
    for (index, (kind, run)) in runs.iter().enumerate() {
        let beside = |other: Option<usize>| {
            let (value, _) = extremes.get(other?).copied().flatten()?;
            Some(value)
        };
        let own = extremes.get(index).copied().flatten();
        let sd = own.and_then(|(value, lead_h)| {
            let day = run.first()?.time.ordinal();
            let shifted = if spot.latitude < 0.0 { day + 183 } else { day };
            let mut s = Situation::bare(f64::from(shifted), spot.latitude, spot.elevation_m, value);
            s.swing_k = beside(index.checked_sub(1)).map(|v| v - value);
            s.next_k = beside(index.checked_add(1)).map(|v| v - value);
            s.sky = sky(run);
            let (_, sd) = table.shift_and_sd(*kind, lead_h, &s)?;
            // Beyond the fitted leads the spread grows as the default does.
            let last = table.lead_h_max();
            let growth = (default.sd(lead_h.max(last), 0.0) / default.sd(last, 0.0)).max(1.0);
            Some(sd * growth)
        });
        all.extend(run.iter().map(|step| {
            let lead_h = (step.time - forecast.issued_at).as_seconds_f64() / 3600.0;
            sd.unwrap_or_else(|| default.sd(lead_h, step.temperature_c.unwrap_or(0.0)))
        }));
    }
    all
}

/// The low of a night or the high of a day, and its lead in hours.
fn extreme((kind, run): &(Kind, &[Step]), forecast: &Forecast) -> Option<(f64, f64)> {
    let known = run.iter().filter_map(|s| Some((s.temperature_c?, s.time)));
    let found = match kind {
        Kind::Low => known.min_by(|a, b| a.0.total_cmp(&b.0)),
        Kind::High => known.max_by(|a, b| a.0.total_cmp(&b.0)),
    };
    let (value, time) = found?;
    Some((value, ((time - forecast.issued_at).as_seconds_f64() / 3600.0).max(0.0)))
}

fn sky(run: &[Step]) -> Option<Sky> {
    let mean = |pick: fn(&Step) -> Option<f64>| {
        let (mut sum, mut n) = (0.0, 0.0);
        for value in run.iter().filter_map(pick) {
            sum += value;
            n += 1.0;
        }
        (n > 0.0).then(|| sum / n)
    };
    let (cloud, wind) = (mean(|s| s.cloud), mean(|s| s.wind_ms));
    if wind.is_some_and(|w| w >= WINDY_MS) {
        return Some(Sky::Windy);
    }
    Some(match cloud? {
        c if c < CLEAR => Sky::Clear,
        c if c < COVERED => Sky::Broken,
        _ => Sky::Cloudy,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, TimeDelta, Utc};

    #[test]
    fn the_spread_grows_with_lead_and_stays_near_what_was_measured() {
        let start: DateTime<Utc> = "2022-11-20T00:00:00Z".parse().unwrap();
        let steps = (0..168)
            .map(|h: i32| Step {
                temperature_c: Some(
                    1.0 - 5.0 * (f64::from(h - 20) / 24.0 * std::f64::consts::TAU).sin(),
                ),
                cloud: Some(0.5),
                wind_ms: Some(3.0),
                ..Step::empty(start + TimeDelta::hours(i64::from(h)))
            })
            .collect();
        let forecast = Forecast {
            service: "test".into(),
            issued_at: start,
            cell_elevation_m: None,
            steps,
            minima: vec![],
            members: vec![],
            missing: 0,
            warnings: vec![],
        };
        let spot = Spot { latitude: 44.2, longitude: -69.1, elevation_m: 5.0 };
        let sd = fitted_sd_k(&ErrorTable::built_in().unwrap(), &forecast, spot);
        assert_eq!(sd.len(), 168);
        let mean = |from: usize| sd[from..from + 24].iter().sum::<f64>() / 24.0;
        assert!((1.2..2.2).contains(&mean(6)), "{}", mean(6));
        assert!(mean(140) > mean(30) && mean(140) < 4.0, "{} {}", mean(30), mean(140));
    }
}
