//! The hourly grid: layers of values by hour joined into steps, with what cannot be true taken out and counted.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use crate::domain::weather::{Forecast, Step, WindowMinimum};

use super::interval::Interval;
use super::{PayloadError, STEPS_MAX};

/// A change of more than this within one hour is a fault, in K.
const HOURLY_CHANGE_K_MAX: f64 = 12.0;
/// A stretch between two such changes of opposite sense is dropped whole up to this length, in hours.
const SPIKE_HOURS_MAX: usize = 24;
/// At either end of the series a stretch behind such a change is dropped up to this length, in hours.
const EDGE_HOURS_MAX: usize = 3;
/// From this many hours on, a series with one unchanging temperature is a stuck value.
const STUCK_HOURS: usize = 24;
/// From this many hours on, a stretch with one unchanging temperature inside a series that moves is a stuck value.
const STUCK_STRETCH_HOURS: usize = 48;
/// More missing hours than this among the next 48 are worth a warning.
const MISSING_OF_48_WARN: usize = 3;
/// How far before the issue hours are kept, in hours: recorded grids begin up to 7 hours before it.
const BEFORE_ISSUE_HOURS_MAX: i64 = 36;

/// Values of one quantity by hour since 1970. `None`: the hour is named and its value is missing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Layer {
    hours: BTreeMap<i64, Option<f64>>,
    /// Values that could not be and were taken out.
    pub dropped: usize,
    /// Hours that two entries claim.
    pub overlaps: usize,
    /// Intervals that could not be read or lie far from the issue.
    pub unread: usize,
}

impl Layer {
    /// Sets every hour that `interval` touches, as far as it lies within a day and a half before and 16 days after
    /// `issued_at`. Where two entries claim an hour the lower value stands: for temperature that is the wary choice.
    pub fn hold(&mut self, interval: Interval, value: Option<f64>, issued_at: DateTime<Utc>) {
        let issue_hour = issued_at.timestamp().div_euclid(3600);
        let horizon = issue_hour.saturating_add(i64::try_from(STEPS_MAX).unwrap_or(i64::MAX));
        let (from, to) = interval.hours();
        let from = from.max(issue_hour.saturating_sub(BEFORE_ISSUE_HOURS_MAX));
        let to = to.min(horizon);
        if from >= to {
            self.unread = self.unread.saturating_add(1);
        }
        for hour in from..to {
            self.put(hour, value);
        }
    }

    /// Spreads an amount evenly over the hours that `interval` touches, as far as they lie in reach; of two amounts for an hour
    /// the larger stands.
    pub fn spread(&mut self, interval: Interval, amount: Option<f64>, issued_at: DateTime<Utc>) {
        let issue_hour = issued_at.timestamp().div_euclid(3600);
        let horizon = issue_hour.saturating_add(i64::try_from(STEPS_MAX).unwrap_or(i64::MAX));
        let (first, end) = interval.hours();
        let Ok(hours) = i32::try_from(end.saturating_sub(first)) else { return };
        let share = amount.map(|amount| amount / f64::from(hours.max(1)));
        let from = first.max(issue_hour.saturating_sub(BEFORE_ISSUE_HOURS_MAX));
        for hour in from..end.min(horizon) {
            let more = self.get(hour).zip(share).map(|(a, b)| a.max(b));
            self.hours.insert(hour, more.or(share).or(self.get(hour)));
        }
    }

    /// Sets one hour since 1970; where it has a value already the lower stands.
    pub fn put(&mut self, hour: i64, value: Option<f64>) {
        let before = self.hours.get(&hour).copied();
        if before.is_some() {
            self.overlaps = self.overlaps.saturating_add(1);
        }
        let lower = match (before.flatten(), value) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        self.hours.insert(hour, lower);
    }

    /// The value of an hour, if it has one.
    #[must_use]
    pub fn get(&self, hour: i64) -> Option<f64> {
        self.hours.get(&hour).copied().flatten()
    }

    /// Has no hour a value?
    #[must_use]
    pub fn is_blank(&self) -> bool {
        self.hours.values().all(Option::is_none)
    }

    /// The first hour named and the first after the last; `None` when empty.
    #[must_use]
    pub fn span(&self) -> Option<(i64, i64)> {
        let first = *self.hours.keys().next()?;
        let last = *self.hours.keys().next_back()?;
        Some((first, last.saturating_add(1)))
    }

    /// Takes out what changes by more than 12 K within an hour: a short stretch that leaves and comes back, a short
    /// stretch at an end, and otherwise the first hour after the change. Counts each hour taken out.
    fn drop_leaps(&mut self) {
        let known: Vec<(i64, f64)> =
            self.hours.iter().filter_map(|(hour, value)| value.map(|v| (*hour, v))).collect();
        let mut stretches: Vec<(Vec<i64>, f64)> = Vec::new();
        let mut last: Option<(i64, f64)> = None;
        for (hour, value) in known {
            let leap = match last {
                Some((h, v)) if hour == h.saturating_add(1) => value - v,
                _ => 0.0,
            };
            match stretches.last_mut() {
                Some((hours, _)) if leap.abs() <= HOURLY_CHANGE_K_MAX => hours.push(hour),
                _ => stretches.push((vec![hour], leap)),
            }
            last = Some((hour, value));
        }
        // A stretch that leaves and comes back is a spike; an end is only suspect where no spike explains the leap.
        let leap_after = |at: usize| stretches.get(at.saturating_add(1)).map_or(0.0, |(_, l)| *l);
        let is_spike: Vec<bool> = (stretches.iter().enumerate())
            .map(|(at, (hours, leap))| {
                leap * leap_after(at) < 0.0 && hours.len() <= SPIKE_HOURS_MAX
            })
            .collect();
        let spike_at = |at: Option<usize>| at.and_then(|a| is_spike.get(a)).is_some_and(|s| *s);
        let mut before_dropped = true;
        for (at, (hours, _)) in stretches.iter().enumerate() {
            let (before, after) = (at.checked_sub(1), at.saturating_add(1));
            let is_end = (before.is_none() || after == stretches.len()) && stretches.len() > 1;
            let is_lone = !spike_at(before) && !spike_at(Some(after));
            let is_edge = is_end && is_lone && hours.len() <= EDGE_HOURS_MAX;
            let is_dropped = spike_at(Some(at)) || is_edge;
            let to_drop = if is_dropped { hours.len() } else { usize::from(!before_dropped) };
            before_dropped = is_dropped;
            for hour in hours.iter().take(to_drop) {
                self.hours.insert(*hour, None);
                self.dropped = self.dropped.saturating_add(1);
            }
        }
    }

    /// Takes out stretches of two days or more without any change, and counts their hours.
    fn drop_stuck(&mut self) {
        let known: Vec<(i64, f64)> =
            self.hours.iter().filter_map(|(hour, value)| value.map(|v| (*hour, v))).collect();
        for stretch in known.chunk_by(|(_, a), (_, b)| (a - b).abs() < 1e-6) {
            if stretch.len() < STUCK_STRETCH_HOURS {
                continue;
            }
            for (hour, _) in stretch {
                self.hours.insert(*hour, None);
                self.dropped = self.dropped.saturating_add(1);
            }
        }
    }

    /// Refuses a temperature layer that cannot be weather, after taking out leaps and stuck stretches.
    ///
    /// # Errors
    /// [`PayloadError::AllMissing`], [`PayloadError::AllOneValue`].
    pub fn settle_temperature(&mut self) -> Result<(), PayloadError> {
        self.drop_leaps();
        let known: Vec<f64> = self.hours.values().copied().flatten().collect();
        let Some(first) = known.first().copied() else {
            return Err(PayloadError::AllMissing {
                hours: self.hours.len(),
                dropped: self.dropped,
            });
        };
        if known.len() >= STUCK_HOURS && known.iter().all(|v| (v - first).abs() < 1e-6) {
            return Err(PayloadError::AllOneValue { hours: known.len(), celsius: first });
        }
        self.drop_stuck();
        Ok(())
    }
}

/// The layers of one issue.
#[derive(Debug, Clone, Default)]
pub struct Layers {
    /// Air temperature in C: decides which hours there are.
    pub temperature: Layer,
    /// 10 % quantile of the air temperature in C.
    pub p10: Layer,
    /// 90 % quantile of the air temperature in C.
    pub p90: Layer,
    /// Dew point in C.
    pub dewpoint: Layer,
    /// Wind in m/s.
    pub wind: Layer,
    /// Cloud, 0 to 1.
    pub cloud: Layer,
    /// Water of the hour, melted, in mm.
    pub precipitation: Layer,
    /// Fresh snow of the hour in cm.
    pub snow: Layer,
}

impl Layers {
    /// One step for every hour from the first to the last that the temperature names, gaps included.
    #[must_use]
    pub fn steps(&self) -> Vec<Step> {
        self.steps_up_to(STEPS_MAX.saturating_mul(2))
    }

    /// The same for at most `most` hours.
    #[must_use]
    pub fn steps_up_to(&self, most: usize) -> Vec<Step> {
        let Some((first, end)) = self.temperature.span() else { return Vec::new() };
        (first..end)
            .take(most)
            .filter_map(|hour| {
                let time = DateTime::from_timestamp(hour.checked_mul(3600)?, 0)?;
                Some(Step {
                    temperature_c: self.temperature.get(hour),
                    p10_c: self.p10.get(hour),
                    p90_c: self.p90.get(hour),
                    dewpoint_c: self.dewpoint.get(hour),
                    wind_ms: self.wind.get(hour),
                    cloud: self.cloud.get(hour),
                    precipitation_mm: self.precipitation.get(hour),
                    snow_cm: self.snow.get(hour),
                    time,
                })
            })
            .collect()
    }

    /// The issue that these layers make, gaps counted and named.
    #[must_use]
    pub(super) fn into_forecast(
        self,
        service: &str,
        issued_at: DateTime<Utc>,
        cell_elevation_m: Option<f64>,
        minima: Vec<WindowMinimum>,
        mut warnings: Vec<String>,
    ) -> Forecast {
        let steps = self.steps();
        let is_empty = |step: &&Step| step.temperature_c.is_none();
        let soon = steps.iter().filter(|s| s.time >= issued_at).take(48).filter(is_empty).count();
        if soon > MISSING_OF_48_WARN {
            warnings.push(format!("{soon} of the first 48 hours have no temperature"));
        }
        let missing = steps.iter().filter(is_empty).count();
        let service = service.to_owned();
        let members = Vec::new();
        Forecast { service, issued_at, cell_elevation_m, steps, minima, members, missing, warnings }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layer(values: &[Option<f64>]) -> Layer {
        let mut layer = Layer::default();
        for (hour, value) in values.iter().enumerate() {
            layer.hours.insert(i64::try_from(hour).unwrap(), *value);
        }
        layer
    }

    fn steady(hours: usize) -> Vec<Option<f64>> {
        (0..hours).map(|h| Some(-2.0 - f64::from(u8::try_from(h % 5).unwrap()))).collect()
    }

    #[test]
    fn a_spike_is_dropped_and_the_series_kept() {
        let mut values = steady(60);
        values[20] = Some(30.0);
        values[21] = Some(31.0);
        let mut layer = layer(&values);
        layer.settle_temperature().unwrap();
        assert_eq!(layer.dropped, 2);
        assert_eq!((layer.get(20), layer.get(21)), (None, None));
        assert_eq!((layer.get(19), layer.get(22)), (values[19], values[22]));
    }

    #[test]
    fn a_fault_at_an_end_is_dropped() {
        let mut values = steady(60);
        values[59] = Some(25.0);
        values[0] = Some(25.0);
        let mut layer = layer(&values);
        layer.settle_temperature().unwrap();
        assert_eq!(layer.dropped, 2);
        assert_eq!((layer.get(0), layer.get(59)), (None, None));
    }

    #[test]
    fn a_true_fall_of_level_costs_one_hour_not_the_series() {
        let mut values = steady(40);
        values.extend((0..40).map(|_| Some(-20.0)));
        let mut layer = layer(&values);
        layer.settle_temperature().unwrap();
        assert_eq!(layer.dropped, 1);
    }

    #[test]
    fn nothing_known_and_one_value_for_days_are_refused() {
        let nothing = layer(&[None; 50]).settle_temperature();
        assert!(matches!(nothing, Err(PayloadError::AllMissing { hours: 50, dropped: 0 })));
        let stuck = layer(&[Some(3.0); 50]).settle_temperature();
        assert!(matches!(stuck, Err(PayloadError::AllOneValue { hours: 50, .. })));
        let a_day = layer(&[Some(1.0); 30]).settle_temperature();
        assert!(matches!(a_day, Err(PayloadError::AllOneValue { hours: 30, .. })));
    }

    #[test]
    fn a_stretch_that_stands_still_for_two_days_is_missing_and_a_foggy_day_is_not() {
        let mut values = steady(30);
        values.extend([Some(4.0); 60]);
        let mut stuck = layer(&values);
        stuck.settle_temperature().unwrap();
        assert_eq!((stuck.dropped, stuck.get(29), stuck.get(45)), (60, values[29], None));
        values.truncate(60);
        let mut fog = layer(&values);
        fog.settle_temperature().unwrap();
        assert_eq!((fog.dropped, fog.get(45)), (0, Some(4.0)));
    }

    #[test]
    fn a_gap_is_a_step_without_a_value() {
        let mut temperature = layer(&[Some(1.0), None, Some(2.0)]);
        temperature.hours.insert(4, Some(1.0));
        let steps = Layers { temperature, ..Layers::default() }.steps();
        let values: Vec<_> = steps.iter().map(|s| s.temperature_c).collect();
        assert_eq!(values, [Some(1.0), None, Some(2.0), None, Some(1.0)]);
    }
}
