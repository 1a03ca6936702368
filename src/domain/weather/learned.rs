//! What a place's own thermometer teaches about its nights: how much colder it is than the forecast of its grid cell on
//! clear calm nights and on others, and how far the rest scatters. It begins at what the list of places says and moves
//! towards the readings as nights come in.
//!
//! A reading is compared with the forecast of the evening before it, the one on which people would have acted: never with
//! a choice of nights that froze (a bias conditioned on the observation is none, `Murphy and Winkler 1987`, from memory).

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::domain::boat::SiteId;
use crate::domain::yard::OwnNights;

/// What the list of places says weighs as much as so many nights of readings.
const PRIOR_NIGHTS: f64 = 8.0;
/// Spread of a yard without a thermometer of its own, K (the default error model's).
const PRIOR_SD_K: f64 = 1.3;
/// No place is known better than this, K: thermometers of this kind are good to about half a kelvin (common practice).
const SD_K_LEAST: f64 = 0.5;
/// No yard scatters more than this, K: then something else is wrong.
const SD_K_MOST: f64 = 5.0;
/// A night is clear and calm from this share on.
const CLEAR_FROM: f64 = 0.5;
/// Further than this from the middle a night does not even help to find what the others say, K.
const OUT_OF_REASON_K: f64 = 15.0;
/// A night that lies further than this from the others is no reading of the air, K ...
const APART_K: f64 = 6.0;
/// ... and further than so many robust deviations.
const APART_DEVIATIONS: f64 = 4.0;
/// With fewer nights than this they cannot yet be held against each other ...
const NIGHTS_FEW: usize = 5;
/// ... and a lone one that lies further than this from the forecast and the list of places is taken for a slip, K; a hollow's worst
/// nights lie about so far below its surroundings (common practice, no source).
const FEW_APART_K: f64 = 8.0;
/// With few nights none counts for more scatter than this, K.
const FEW_SCATTER_K: f64 = 4.0;
/// Median excess of the day's highs over the forecast from which a thermometer stands in the sun, K.
const SUN_K: f64 = 4.0;
/// So many highs are needed to say that.
const SUN_DAYS: usize = 5;
/// A low that stays the same to the last digit over so many mornings ...
const STUCK_MORNINGS: usize = 3;
/// ... while the forecast moved by this much, K, was not reset.
const STUCK_MOVE_K: f64 = 3.0;
/// What can be learned at most, K below the forecast.
const COLDER_K_MOST: f64 = 12.0;

/// What a place's thermometer showed in the night before a morning.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadNight {
    /// The place.
    pub site: SiteId,
    /// The day of the morning.
    pub morning: NaiveDate,
    /// The lowest, C.
    pub low_c: f64,
    /// The highest of the day before, C.
    pub high_c: Option<f64>,
}

/// One night: what the place's thermometer showed and what had been forecast for its grid cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Night {
    /// The day of the morning.
    pub morning: NaiveDate,
    /// Lowest reading, C.
    pub low_c: f64,
    /// Highest reading of the day before, C.
    pub high_c: Option<f64>,
    /// Lowest forecast hour, C.
    pub forecast_low_c: f64,
    /// Highest forecast hour of the day before, C.
    pub forecast_high_c: Option<f64>,
    /// How clear and calm the night was forecast, 0 to 1.
    pub clear_calm: f64,
    /// Spread of the forecast itself, K.
    pub forecast_sd_k: f64,
}

/// Nights of one sort.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sort {
    /// How many were believed.
    pub nights: usize,
    /// What they add to the forecast, K; 0 or less.
    pub offset_k: f64,
    /// How far they scatter about that, K; `None` for fewer than two.
    pub scatter_k: Option<f64>,
}

/// What was learned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OwnCold {
    /// Clear calm nights.
    pub clear: Sort,
    /// All others.
    pub other: Sort,
    /// Spread of the place against the point of the forecast, K.
    pub place_sd_k: f64,
    /// The last night that counts.
    pub until: Option<NaiveDate>,
    /// The thermometer stands in the sun or at a warm wall: it cannot make the place milder.
    pub in_the_sun: bool,
    /// Nights that were not believed, and why.
    pub refused: Vec<(NaiveDate, String)>,
}

impl OwnCold {
    /// In short, as the place carries it.
    #[must_use]
    pub const fn nights(&self) -> OwnNights {
        OwnNights {
            clear_k: self.clear.offset_k,
            other_k: self.other.offset_k,
            place_sd_k: self.place_sd_k,
        }
    }
}

/// Learns from the nights of a place whose list says `prior_offset_k` for clear calm nights; nights in order. `None`
/// without any night.
#[must_use]
pub fn learn(prior_offset_k: f64, nights: &[Night]) -> Option<OwnCold> {
    let prior_k = prior_offset_k.min(0.0);
    if nights.is_empty() {
        return None;
    }
    let (believed, refused) = believed(prior_k, nights);
    let in_the_sun = is_in_the_sun(nights);
    let (clear_k, other_k) = offsets(prior_k, &believed);
    let clear_k = if in_the_sun { clear_k.min(prior_k) } else { clear_k };
    let residual = |night: &Night| {
        error(night) - night.clear_calm * clear_k - (1.0 - night.clear_calm) * other_k
    };
    let sort = |clear: bool, offset_k: f64| {
        let own: Vec<f64> = believed
            .iter()
            .filter(|night| (night.clear_calm >= CLEAR_FROM) == clear)
            .map(residual)
            .collect();
        let squares = own.iter().map(|r| r * r).sum::<f64>();
        let scatter_k = (own.len() >= 2).then(|| (squares / count(own.len())).sqrt());
        Sort { nights: own.len(), offset_k, scatter_k }
    };
    let most_k = if believed.len() < NIGHTS_FEW { FEW_SCATTER_K } else { f64::INFINITY };
    let beyond: f64 = believed
        .iter()
        .map(|night| residual(night).abs().min(most_k).powi(2) - night.forecast_sd_k.powi(2))
        .sum();
    let variance =
        (PRIOR_NIGHTS * PRIOR_SD_K.powi(2) + beyond) / (PRIOR_NIGHTS + count(believed.len()));
    Some(OwnCold {
        clear: sort(true, clear_k),
        other: sort(false, other_k),
        place_sd_k: variance.max(0.0).sqrt().clamp(SD_K_LEAST, SD_K_MOST),
        until: believed.iter().map(|night| night.morning).max(),
        in_the_sun,
        refused,
    })
}

fn error(night: &Night) -> f64 {
    night.low_c - night.forecast_low_c
}

/// The nights that can be true, and why the others cannot.
fn believed(prior_k: f64, nights: &[Night]) -> (Vec<Night>, Vec<(NaiveDate, String)>) {
    // While there are few nights: far from all that was to be expected, and no other like it.
    let slips = |night: &Night| {
        let far = (error(night) - night.clear_calm * prior_k).abs() > FEW_APART_K;
        let mut others = nights.iter().filter(|one| one.morning != night.morning);
        let alone = others.all(|one| (error(one) - error(night)).abs() > APART_K);
        nights.len() < NIGHTS_FEW && alone && far
    };
    let unslipped: Vec<Night> = nights.iter().filter(|night| !slips(night)).copied().collect();
    // Against what the others say of such a night: a first fit without what is out of all reason.
    let middle = median(unslipped.iter().map(error).collect());
    let sane: Vec<Night> = unslipped
        .iter()
        .filter(|n| (error(n) - middle).abs() <= OUT_OF_REASON_K)
        .copied()
        .collect();
    let (clear_k, other_k) = offsets(prior_k, &sane);
    let off = |night: &Night| {
        error(night) - night.clear_calm * clear_k - (1.0 - night.clear_calm) * other_k
    };
    let middle = median(sane.iter().map(off).collect());
    let deviation = 1.4826 * median(sane.iter().map(|n| (off(n) - middle).abs()).collect());
    let most_k = APART_K.max(APART_DEVIATIONS * deviation);
    let (mut good, mut refused): (Vec<Night>, Vec<(NaiveDate, String)>) = (Vec::new(), Vec::new());
    for (place, night) in nights.iter().enumerate() {
        if slips(night) {
            refused.push((
                night.morning,
                format!(
                    "{:.0} K from what was forecast that evening, and no other night to bear it out: read the thermometer again",
                    error(night)
                ),
            ));
            continue;
        }
        let last: Vec<&Night> = nights.iter().take(place + 1).rev().take(STUCK_MORNINGS).collect();
        let same = last.iter().all(|one| (one.low_c - night.low_c).abs() < 0.05);
        let forecast = |pick: fn(f64, f64) -> f64| {
            last.iter().map(|one| one.forecast_low_c).reduce(pick).unwrap_or(0.0)
        };
        let moved_k = forecast(f64::max) - forecast(f64::min);
        let stuck = last.len() == STUCK_MORNINGS && same && moved_k >= STUCK_MOVE_K;
        let apart_k = off(night) - middle;
        if stuck {
            refused.push((
                night.morning,
                "the same as on the mornings before while the forecast moved: was it reset?"
                    .to_owned(),
            ));
        } else if apart_k.abs() > most_k {
            let side = if apart_k < 0.0 { "colder" } else { "milder" };
            refused.push((
                night.morning,
                format!(
                    "{:.0} K {side} than this place's other nights: misread, or another scale?",
                    apart_k.abs()
                ),
            ));
        } else {
            good.push(*night);
        }
    }
    (good, refused)
}

fn is_in_the_sun(nights: &[Night]) -> bool {
    let over: Vec<f64> =
        nights.iter().filter_map(|night| Some(night.high_c? - night.forecast_high_c?)).collect();
    over.len() >= SUN_DAYS && median(over) > SUN_K
}

/// Offsets of clear calm nights and of others that fit best, drawn towards the list's and 0: least squares with both as
/// unknowns (ridge regression, Hoerl and Kennard 1970). A place gets no credit for being milder than its cell.
fn offsets(prior_k: f64, nights: &[Night]) -> (f64, f64) {
    let (mut cc, mut co, mut oo) = (PRIOR_NIGHTS, 0.0, PRIOR_NIGHTS);
    let (mut c, mut o) = (PRIOR_NIGHTS * prior_k, 0.0);
    for night in nights {
        let (clear, other) = (night.clear_calm, 1.0 - night.clear_calm);
        cc += clear * clear;
        co += clear * other;
        oo += other * other;
        c += clear * error(night);
        o += other * error(night);
    }
    // Never singular: both squares hold the prior.
    let whole = cc * oo - co * co;
    let solved = ((c * oo - o * co) / whole, (o * cc - c * co) / whole);
    (solved.0.clamp(-COLDER_K_MOST, 0.0), solved.1.clamp(-COLDER_K_MOST, 0.0))
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let at = |place: usize| values.get(place).copied().unwrap_or(0.0);
    if values.len() % 2 == 1 {
        at(middle)
    } else {
        f64::midpoint(at(middle.saturating_sub(1)), at(middle))
    }
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::errors::Normals;

    /// So many nights, half of them clear, of a place that is `clear_k` and `other_k` off with a scatter of `sd_k`.
    fn nights(n: u64, clear_k: f64, other_k: f64, sd_k: f64) -> Vec<Night> {
        let mut draws = Normals::new(7);
        let start = NaiveDate::from_ymd_opt(2026, 11, 1).unwrap();
        (0..n)
            .map(|k| {
                let clear_calm = if k % 2 == 0 { 0.9 } else { 0.1 };
                let offset = clear_calm * clear_k + (1.0 - clear_calm) * other_k;
                let forecast_low_c = 2.0 + 4.0 * draws.normal();
                let error = offset + sd_k.hypot(1.5) * draws.normal();
                Night {
                    morning: start + chrono::Days::new(k),
                    low_c: forecast_low_c + error,
                    high_c: None,
                    forecast_low_c,
                    forecast_high_c: None,
                    clear_calm,
                    forecast_sd_k: 1.5,
                }
            })
            .collect()
    }

    #[test]
    fn a_hollow_is_found_out_as_nights_come_in() {
        let few = learn(0.0, &nights(4, -4.0, -0.5, 1.0)).unwrap();
        let many = learn(0.0, &nights(120, -4.0, -0.5, 1.0)).unwrap();
        assert!(few.clear.offset_k > -2.0 && few.clear.offset_k < 0.0, "{few:?}");
        assert!((many.clear.offset_k + 4.0).abs() < 0.7, "{many:?}");
        assert!((many.other.offset_k + 0.5).abs() < 0.6, "{many:?}");
        assert!((many.place_sd_k - 1.0).abs() < 0.5, "{many:?}");
        assert!(few.place_sd_k > 0.9, "four nights say little about the spread: {few:?}");
        assert_eq!(many.clear.nights + many.other.nights, 120, "{:?}", many.refused);
    }

    #[test]
    fn a_warning_of_the_list_fades_only_with_nights_and_warmth_earns_nothing() {
        let prior = |n| learn(-3.0, &nights(n, 0.0, 0.0, 0.7)).unwrap().clear.offset_k;
        assert!(prior(4) < -1.5 && prior(120) > -1.0, "{} {}", prior(4), prior(120));
        let warm = learn(0.0, &nights(60, 3.0, 2.0, 0.7)).unwrap();
        assert_eq!((warm.clear.offset_k, warm.other.offset_k), (0.0, 0.0));
        assert_eq!(learn(-3.0, &[]), None);
    }

    #[test]
    fn what_cannot_be_true_is_refused_with_the_reason() {
        let mut all = nights(30, -1.0, 0.0, 0.7);
        all[10].low_c = 25.0;
        for night in &mut all[18..21] {
            night.low_c = -2.0;
        }
        all[18].forecast_low_c = -3.0;
        all[19].forecast_low_c = -3.5;
        all[20].forecast_low_c = 1.5;
        let found = learn(0.0, &all).unwrap();
        let days: Vec<NaiveDate> = found.refused.iter().map(|(day, _)| *day).collect();
        assert_eq!(days, [all[10].morning, all[20].morning], "{:?}", found.refused);
        assert!(found.refused[0].1.contains("milder") && found.refused[1].1.contains("reset"));
    }

    #[test]
    fn a_thermometer_in_the_sun_cannot_make_a_place_milder() {
        let mut all = nights(60, 0.0, 0.0, 0.7);
        for night in &mut all {
            (night.high_c, night.forecast_high_c) = (Some(17.0), Some(10.0));
        }
        let found = learn(-3.0, &all).unwrap();
        assert!(found.in_the_sun && found.clear.offset_k <= -3.0, "{found:?}");
    }
}
