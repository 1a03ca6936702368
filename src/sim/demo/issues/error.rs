//! Seeded errors (observed minus forecast, in K) of the forecasts of the invented winter.
//!
//! Size by lead and temperature: sigma(L, T) = (1.65 + 0.0075 L) (1 + 0.025 clamp(-3 - T, 0, 25)) to 120 h, then 2.9,
//! 3.2, 4.0 at 144, 168, 240 h; bias +0.15 K; shape: t with 8 degrees of freedom; correlation over the hours of one
//! issue 0.25 + 0.75 exp(-h / 6); leads of one night correlated 0.83 to 0.93. The 0.25 fades over four days, since a
//! winter is longer than the runs on which it was measured.

use std::ops::Range;

use chrono::{DateTime, Utc};

use crate::sim::demo::issues::reach::AHEAD_H;
use crate::sim::demo::noise::Noise;
use crate::sim::demo::winter::Winter;

/// The forecasts lean cold.
const BIAS_K: f64 = 0.15;
/// Sigma at no lead, and its growth per hour, in K.
const SIGMA_K: f64 = 1.65;
const SIGMA_PER_HOUR_K: f64 = 0.0075;
/// Sigma beyond the straight part: lead in hours, K.
const SIGMA_FAR: [(f64, f64); 4] = [(120.0, 2.55), (144.0, 2.9), (168.0, 3.2), (240.0, 4.0)];
/// What is each issue's own, in K: brings the leads of one night from 0.87 and 0.95 to 0.83 and 0.91.
const OWN_K: f64 = 0.35;
/// Growth with cold: per K below -3 C, to 25 K.
const COLD_FROM_C: f64 = -3.0;
const COLD_PER_K: f64 = 0.025;
const COLD_K_MAX: f64 = 25.0;
/// Correlation in time: the share that fades in six hours, that in four days.
const QUICK_SHARE: f64 = 0.75;
const QUICK_H: f64 = 4.5;
/// The quick part is averaged over so many hours, since forecasts run smoothly from hour to hour. With that the
/// correlation over 3, 6 and 12 hours stays near the measured 0.73, 0.51 and 0.30.
const SMOOTH_H: usize = 5;
const SLOW_H: f64 = 96.0;
/// Degrees of freedom, and the factor that gives t with eight of them variance one: sqrt(6 / 8).
const FREEDOM: u64 = 8;
const T_SCALE: f64 = 0.866_025_403_784_438_6;
/// How slowly easy and hard days change, in hours.
const HARD_H: f64 = 24.0;
/// Least sum of squares: no day is more than twice as hard as the usual.
const EASIEST: f64 = 1.5;
/// Share of the variance that all cells have in common.
const SHARED: f64 = 0.6;
/// News comes in steps of so many hours.
const EPOCH_H: i64 = 6;
/// Hours that the news of one step is about.
const NEWS_H: usize = 192;

/// The outbreak of February was forecast a week ahead: half the error for these hours, from this issue on.
const OUTBREAK: (&str, &str, &str) =
    ("2023-02-02T17:00:00Z", "2023-02-06T17:00:00Z", "2023-01-28T05:00:00Z");
const OUTBREAK_FACTOR: f64 = 0.5;
/// The first cold of November came too warm: 3 K two days ahead, nothing from half a day ahead.
const SURPRISE: (&str, &str) = ("2022-11-13T05:00:00Z", "2022-11-14T17:00:00Z");
const SURPRISE_K: f64 = 3.0;
const SURPRISE_NONE_H: f64 = 12.0;
const SURPRISE_FULL_H: f64 = 48.0;
/// Chance plays a small part there, so that the three kelvin show.
const SURPRISE_CHANCE: f64 = 0.3;
/// Both fade in and out over so many hours.
const FADE_H: f64 = 12.0;

#[derive(Debug, Clone)]
struct Special {
    outbreak: Option<(Range<i64>, DateTime<Utc>)>,
    surprise: Option<Range<i64>>,
}

/// One unit-variance series per cell, mixed from a common and an own one.
type PerCell = Vec<Vec<f64>>;

#[derive(Debug, Clone)]
pub(crate) struct ErrorModel {
    seed: u64,
    first_hour: i64,
    lasting: PerCell,
    /// By step of news, then cell, then hours since the step began.
    news: Vec<PerCell>,
    /// Easy and hard days: what makes a normal number a t.
    hardness: Vec<f64>,
    special: Special,
}

impl ErrorModel {
    pub fn make(winter: &Winter, seed: u64) -> Self {
        let (first_hour, count) = winter.span();
        let cells = winter.cells().len();
        let steps = count / usize::try_from(EPOCH_H).unwrap_or(1) + 1;
        let mut squares = vec![0.0; count];
        for stream in 0..FREEDOM {
            let series = Noise::new(seed, 40 + stream).series(count, fading(HARD_H));
            squares.iter_mut().zip(series).for_each(|(sum, z)| *sum += z * z);
        }
        let freedom = f64::from(u32::try_from(FREEDOM).unwrap_or(8));
        let hardness =
            squares.iter().map(|s| T_SCALE / (s.max(EASIEST) / freedom).sqrt()).collect();
        let mut noise = Noise::new(seed, 30);
        Self {
            seed,
            first_hour,
            lasting: field(&mut noise, cells, count),
            news: (0..steps).map(|_| field(&mut noise, cells, NEWS_H)).collect(),
            hardness,
            special: Special::read(),
        }
    }

    /// The error of each hour of an issue, in K.
    pub fn of_issue(
        &self,
        winter: &Winter,
        cell: usize,
        issued_at: DateTime<Utc>,
        hours: Range<i64>,
    ) -> Vec<f64> {
        let minutes = u64::try_from(issued_at.timestamp().div_euclid(60)).unwrap_or(0);
        let stream = minutes.wrapping_mul(64).wrapping_add(u64::try_from(cell).unwrap_or(0));
        let mut own = Noise::new(self.seed, stream.wrapping_add(1_000));
        let own = unit(&mut own, usize::try_from(AHEAD_H).unwrap_or(0) + NEWS_H);
        hours
            .zip(own)
            .map(|(hour, own)| {
                let truth_c = winter.truth_at_hour(cell, hour).and_then(|s| s.temperature_c);
                let cold_k = (COLD_FROM_C - truth_c.unwrap_or(0.0)).clamp(0.0, COLD_K_MAX);
                let chance = (self.known_never(cell, hour)
                    + OWN_K * own
                    + self.news_to_come(cell, issued_at, hour))
                    * self.hardness_at(hour)
                    * (1.0 + COLD_PER_K * cold_k);
                self.special.apply(chance + BIAS_K, issued_at, hour)
            })
            .collect()
    }

    fn known_never(&self, cell: usize, hour: i64) -> f64 {
        let at = usize::try_from(hour.saturating_sub(self.first_hour)).ok();
        let z = at.and_then(|a| self.lasting.get(cell)?.get(a)).copied().unwrap_or(0.0);
        (SIGMA_K * SIGMA_K - OWN_K * OWN_K).sqrt() * z
    }

    fn hardness_at(&self, hour: i64) -> f64 {
        let at = usize::try_from(hour.saturating_sub(self.first_hour)).ok();
        at.and_then(|a| self.hardness.get(a)).copied().unwrap_or(1.0)
    }

    /// The news about `hour` that comes after the issue: each step adds the variance by which its leads differ.
    fn news_to_come(&self, cell: usize, issued_at: DateTime<Utc>, hour: i64) -> f64 {
        let issued_h =
            hours_f64(issued_at.timestamp().saturating_sub(self.first_hour.saturating_mul(3600)))
                / 3600.0;
        let about = hour.saturating_sub(self.first_hour);
        let about_h = hours_f64(about);
        if about_h <= issued_h {
            return 0.0;
        }
        let first = issued_at
            .timestamp()
            .div_euclid(3600)
            .saturating_sub(self.first_hour)
            .div_euclid(EPOCH_H);
        let last = about.saturating_sub(1).div_euclid(EPOCH_H);
        let mut sum = 0.0;
        for step in first..=last {
            let from_h = hours_f64(step.saturating_mul(EPOCH_H)).max(issued_h);
            let to_h = hours_f64(step.saturating_add(1).saturating_mul(EPOCH_H)).min(about_h);
            let variance = sigma(about_h - from_h).powi(2) - sigma(about_h - to_h).powi(2);
            let since = about.saturating_sub(step.saturating_mul(EPOCH_H));
            let z = usize::try_from(step)
                .ok()
                .zip(usize::try_from(since).ok())
                .and_then(|(step, since)| self.news.get(step)?.get(cell)?.get(since))
                .copied();
            sum += variance.max(0.0).sqrt() * z.unwrap_or(0.0);
        }
        sum
    }
}

impl Special {
    fn read() -> Self {
        let time = |text: &str| text.parse::<DateTime<Utc>>().ok();
        let hours = |from: &str, to: &str| {
            let hour = |t: &str| Some(time(t)?.timestamp().div_euclid(3600));
            Some(hour(from)?..hour(to)?)
        };
        Self {
            outbreak: hours(OUTBREAK.0, OUTBREAK.1).zip(time(OUTBREAK.2)),
            surprise: hours(SURPRISE.0, SURPRISE.1),
        }
    }

    fn apply(&self, error_k: f64, issued_at: DateTime<Utc>, hour: i64) -> f64 {
        let lead_h =
            hours_f64(hour.saturating_mul(3600).saturating_sub(issued_at.timestamp())) / 3600.0;
        let mut error_k = error_k;
        if let Some((hours, since)) = &self.outbreak
            && issued_at >= *since
        {
            error_k *= 1.0 - inside(hours, hour) * (1.0 - OUTBREAK_FACTOR);
        }
        if let Some(hours) = &self.surprise {
            let inside = inside(hours, hour);
            let full = (lead_h - SURPRISE_NONE_H) / (SURPRISE_FULL_H - SURPRISE_NONE_H);
            error_k *= 1.0 - inside * (1.0 - SURPRISE_CHANCE);
            error_k -= inside * SURPRISE_K * full.clamp(0.0, 1.0);
        }
        error_k
    }
}

/// 1 inside, 0 far outside, a ramp before and after.
fn inside(hours: &Range<i64>, hour: i64) -> f64 {
    let outside = hours.start.saturating_sub(hour).max(hour.saturating_sub(hours.end)).max(0);
    (1.0 - hours_f64(outside) / FADE_H).max(0.0)
}

/// Sigma in K at a lead in hours.
fn sigma(lead_h: f64) -> f64 {
    let mut before = (0.0, SIGMA_K);
    for (lead, value) in SIGMA_FAR {
        if lead_h <= lead {
            if lead <= 120.0 {
                return SIGMA_K + SIGMA_PER_HOUR_K * lead_h.max(0.0);
            }
            let share = (lead_h - before.0) / (lead - before.0);
            return before.1 + share * (value - before.1);
        }
        before = (lead, value);
    }
    before.1
}

fn fading(hours: f64) -> f64 {
    (-1.0 / hours).exp()
}

/// A unit-variance series with the quick and the slow part.
fn unit(noise: &mut Noise, count: usize) -> Vec<f64> {
    let quick = smooth_series(noise, count, fading(QUICK_H));
    let slow = noise.series(count, fading(SLOW_H));
    let mix = |(q, s): (f64, f64)| QUICK_SHARE.sqrt() * q + (1.0 - QUICK_SHARE).sqrt() * s;
    quick.into_iter().zip(slow).map(mix).collect()
}

/// A running mean of a series, brought back to unit variance.
fn smooth_series(noise: &mut Noise, count: usize, step: f64) -> Vec<f64> {
    let raw = noise.series(count.saturating_add(SMOOTH_H), step);
    let apart = (0..SMOOTH_H).flat_map(|i| (0..SMOOTH_H).map(move |j| i.abs_diff(j)));
    let variance: f64 = apart.map(|d| i32::try_from(d).map_or(0.0, |d| step.powi(d))).sum();
    raw.windows(SMOOTH_H).take(count).map(|w| w.iter().sum::<f64>() / variance.sqrt()).collect()
}

fn field(noise: &mut Noise, cells: usize, count: usize) -> PerCell {
    let common = unit(noise, count);
    (0..cells)
        .map(|_| {
            let own = unit(noise, count);
            let mix = |(c, o): (&f64, f64)| SHARED.sqrt() * c + (1.0 - SHARED).sqrt() * o;
            common.iter().zip(own).map(mix).collect()
        })
        .collect()
}

fn hours_f64(count: i64) -> f64 {
    i32::try_from(count).map_or(0.0, f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sigma_follows_its_table() {
        for (lead, value) in
            [(6.0, 1.70), (24.0, 1.83), (48.0, 2.01), (120.0, 2.55), (156.0, 3.05), (300.0, 4.0)]
        {
            assert!((sigma(lead) - value).abs() < 0.006, "{lead}: {}", sigma(lead));
        }
    }
}
