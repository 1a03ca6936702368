//! Closed forms of a part with one temperature: steps, ramps, daily waves and the plateau at freezing.
//!
//! Temperatures in C, times in hours. `None` where the question has no answer.

use std::f64::consts::{PI, TAU};

use super::constants::{HEAT_OF_FUSION_J_KG, SECONDS_PER_HOUR};

/// Hours until a part at `start_c` in air of `air_c` reaches `end_c`, sensible heat only; `None` when it never does.
#[must_use]
pub fn time_to_cool_h(start_c: f64, air_c: f64, end_c: f64, tau_h: f64) -> Option<f64> {
    if start_c == end_c {
        return Some(0.0);
    }
    let ratio = (start_c - air_c) / (end_c - air_c);
    (ratio.is_finite() && ratio >= 1.0).then(|| tau_h * ratio.ln())
}

/// Temperature after `time_h` in steady air.
#[must_use]
pub fn after_step_c(start_c: f64, air_c: f64, tau_h: f64, time_h: f64) -> f64 {
    air_c + (start_c - air_c) * (-time_h / tau_h).exp()
}

/// Temperature after `time_h` in air that starts at `air_start_c` and changes by `rate_k_h` an hour.
#[must_use]
pub fn under_ramp_c(start_c: f64, air_start_c: f64, rate_k_h: f64, tau_h: f64, time_h: f64) -> f64 {
    air_start_c
        + rate_k_h * (time_h - tau_h)
        + (start_c - air_start_c + rate_k_h * tau_h) * (-time_h / tau_h).exp()
}

/// Hours at the freezing point until `fraction` of `water_kg` is ice; `None` in air that is not colder.
#[must_use]
pub fn plateau_h(water_kg: f64, ua_w_k: f64, below_freezing_k: f64, fraction: f64) -> Option<f64> {
    (below_freezing_k > 0.0).then(|| {
        water_kg * fraction * HEAT_OF_FUSION_J_KG / (ua_w_k * below_freezing_k * SECONDS_PER_HOUR)
    })
}

/// A wave of the air: `mean + amplitude cos(2 pi (t - peak) / period)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    /// Mean, C.
    pub mean_c: f64,
    /// Amplitude, K, not negative.
    pub amplitude_k: f64,
    /// When it is warmest, hours.
    pub peak_at_h: f64,
    /// Period, hours, above 0.
    pub period_h: f64,
}

impl Wave {
    /// Amplitude of a part with the time constant `tau_h` over that of the air.
    #[must_use]
    pub fn gain(period_h: f64, tau_h: f64) -> f64 {
        1.0 / (TAU / period_h * tau_h).hypot(1.0)
    }

    /// Hours by which the part lags behind the air.
    #[must_use]
    pub fn lag_h(period_h: f64, tau_h: f64) -> f64 {
        let per_hour = TAU / period_h;
        (per_hour * tau_h).atan() / per_hour
    }

    /// The part's lowest temperature once the start is forgotten.
    #[must_use]
    pub fn steady_minimum_c(&self, tau_h: f64) -> f64 {
        self.mean_c - self.amplitude_k.abs() * Self::gain(self.period_h, tau_h)
    }

    /// The part's temperature `time_h` after it was at `start_c`.
    #[must_use]
    pub fn part_c(&self, start_c: f64, tau_h: f64, time_h: f64) -> f64 {
        let late = self.peak_at_h + Self::lag_h(self.period_h, tau_h);
        let swing = self.amplitude_k * Self::gain(self.period_h, tau_h);
        let steady = |t: f64| self.mean_c + swing * (TAU / self.period_h * (t - late)).cos();
        steady(time_h) + (start_c - steady(0.0)) * (-time_h / tau_h).exp()
    }

    /// Kelvin hours below `freeze_c` in one period.
    #[must_use]
    pub fn freezing_degree_hours(&self, freeze_c: f64) -> f64 {
        let (mean, swing) = (self.mean_c - freeze_c, self.amplitude_k.abs());
        if mean >= swing {
            0.0
        } else if mean <= -swing {
            -mean * self.period_h
        } else {
            let half = (mean / swing).acos();
            self.period_h / PI * (swing * half.sin() - mean * half)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_never_happens_has_no_time() {
        assert_eq!(time_to_cool_h(5.0, 1.0, 0.0, 3.0), None);
        assert_eq!(time_to_cool_h(5.0, 0.0, 0.0, 3.0), None);
        assert_eq!(time_to_cool_h(-5.0, -10.0, 0.0, 3.0), None);
        assert_eq!(time_to_cool_h(2.0, 2.0, 2.0, 3.0), Some(0.0));
        assert!(time_to_cool_h(-5.0, 10.0, 0.0, 3.0).unwrap() > 0.0, "warming counts too");
        assert_eq!(plateau_h(1.0, 1.0, 0.0, 1.0), None);
    }

    #[test]
    fn degree_hours_join_smoothly_at_both_ends() {
        let day = |mean_c| Wave { mean_c, amplitude_k: 5.0, peak_at_h: 0.0, period_h: 24.0 };
        assert_eq!(day(5.0).freezing_degree_hours(0.0), 0.0);
        assert!((day(0.0).freezing_degree_hours(0.0) - 38.20).abs() < 0.01);
        assert!((day(-4.999_999).freezing_degree_hours(0.0) - 120.0).abs() < 0.01);
        assert_eq!(day(-6.0).freezing_degree_hours(0.0), 144.0);
    }

    #[test]
    fn a_part_under_a_wave_starts_where_it_starts() {
        let wave = Wave { mean_c: 2.0, amplitude_k: 6.0, peak_at_h: 15.0, period_h: 24.0 };
        assert!((wave.part_c(7.0, 5.0, 0.0) - 7.0).abs() < 1e-12);
        let lowest = (0..2400)
            .map(|step| wave.part_c(7.0, 5.0, 240.0 + f64::from(step) * 0.01))
            .fold(f64::INFINITY, f64::min);
        assert!((lowest - wave.steady_minimum_c(5.0)).abs() < 1e-4);
    }
}
