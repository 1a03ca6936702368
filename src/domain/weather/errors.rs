//! How wrong a point forecast of the 2 m temperature is, and ensembles drawn from that.
//!
//! The default model rests on figures measured on a public archive of US point forecasts of the night minimum (101
//! cold cities, October to April, leads of 12 to 48 h) and on published ensemble growth beyond: the spread grows
//! slowly with lead and faster with cold, the tails are those of a Student t with 8 degrees of freedom, and the error
//! of one night is mostly one shift: hours are drawn together, never one by one, since independent hours would average
//! the risk away for anything with thermal mass.

mod normal;

use serde::{Deserialize, Serialize};

use super::Step;
use normal::wide;
pub use normal::{Normals, normal_quantile, normal_share, tail_share};

/// The most hours that are drawn ahead; services reach 7 to 10 days.
pub const HOURS_MAX: usize = 240;
/// The longest gap that is bridged by a straight line; a longer one takes the colder neighbour, never the milder.
const GAP_BRIDGED_H: usize = 3;

/// Parameters of the error model. Temperatures in C, leads in hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ErrorModel {
    /// Standard deviation at lead 0, K.
    pub sd_k: f64,
    /// Growth of the standard deviation per hour of lead, K/h.
    pub growth_k_per_h: f64,
    /// Relative growth per kelvin that the forecast lies below [`ErrorModel::cold_from_c`].
    pub cold_gain_per_k: f64,
    /// Below this forecast temperature errors grow, C.
    pub cold_from_c: f64,
    /// Kelvins of cold after which they grow no further.
    pub cold_span_k: f64,
    /// Mean of observed minus forecast, K.
    pub bias_k: f64,
    /// Spread of a yard against the point that the forecast was made for, K, added in quadrature.
    pub place_sd_k: f64,
    /// Share of the variance that is one shift over the whole path.
    pub shift_share: f64,
    /// Decay time of the rest, h.
    pub decay_h: f64,
    /// Degrees of freedom of the tails.
    pub degrees_of_freedom: u32,
}

impl Default for ErrorModel {
    /// The measured default: `(1.65 + 0.0075 L)(1 + 0.025 clamp(-3 - T, 0, 25))`, t with 8 degrees of freedom,
    /// correlation `0.25 + 0.75 exp(-h/6)`; 1.3 K for a yard without a thermometer of its own.
    fn default() -> Self {
        Self {
            sd_k: 1.65,
            growth_k_per_h: 0.0075,
            cold_gain_per_k: 0.025,
            cold_from_c: -3.0,
            cold_span_k: 25.0,
            bias_k: 0.0,
            place_sd_k: 1.3,
            shift_share: 0.25,
            decay_h: 6.0,
            degrees_of_freedom: 8,
        }
    }
}

impl ErrorModel {
    /// Standard deviation in K of the error at `lead_h` hours for a forecast of `forecast_c`, place included.
    #[must_use]
    pub fn sd(&self, lead_h: f64, forecast_c: f64) -> f64 {
        let cold = (self.cold_from_c - forecast_c).clamp(0.0, self.cold_span_k);
        // Past 120 h the published growth steepens: 2.55 K there, 2.9 at 144 h, 4.0 at 240 h.
        let late = (lead_h - 120.0).max(0.0) * 0.0058;
        let forecast = (self.sd_k + self.growth_k_per_h * lead_h.max(0.0) + late)
            * (1.0 + self.cold_gain_per_k * cold);
        forecast.hypot(self.place_sd_k)
    }

    /// Correlation of the errors of two hours of one path that lie `apart_h` hours apart.
    #[must_use]
    pub fn correlation(&self, apart_h: f64) -> f64 {
        self.shift_share + (1.0 - self.shift_share) * (-apart_h.abs() / self.decay_h).exp()
    }
}

/// Possible temperature paths of one place: `hours` x `members`, hour by hour, so that the members of one hour lie side
/// by side in memory.
#[derive(Debug, Clone, PartialEq)]
pub struct Ensemble {
    members: usize,
    air_c: Vec<f32>,
    unknown_hours: usize,
}

/// Errors of unit spread, `hours` x `members`, hour by hour: the random part of an ensemble.
///
/// The members stand in the order of the error that lasts, cold ones first: neighbours freeze and thaw together, which
/// spares whoever steps them in groups much of the work. How many do what does not depend on their order.
#[derive(Debug, Clone, PartialEq)]
pub struct StandardErrors {
    members: usize,
    errors: Vec<f64>,
}

impl StandardErrors {
    /// Draws them: memory and tails are `model`'s. The same arguments give the same bits, and more hours only add to
    /// the end.
    #[must_use]
    pub fn new(members: usize, hours: usize, model: &ErrorModel, seed: u64) -> Self {
        let mut rng = Normals::new(seed);
        let paths: Vec<Path> =
            (0..members).map(|m| Path::start(m, members, model, &mut rng)).collect();
        let mut paths = shuffled_shifts(paths, &mut rng);
        let keep = (-1.0 / model.decay_h).exp();
        let fresh = (1.0 - keep * keep).sqrt();
        let (shift, rest) = (model.shift_share.sqrt(), (1.0 - model.shift_share).sqrt());
        let place = ranks(&paths);
        let mut errors = vec![0.0; hours * members];
        for hour in errors.chunks_exact_mut(members.max(1)) {
            for (path, to) in paths.iter_mut().zip(&place) {
                if let Some(slot) = hour.get_mut(*to) {
                    *slot = path.tail * (shift * path.shift + rest * path.wander);
                }
                path.wander = keep * path.wander + fresh * rng.normal();
            }
        }
        Self { members, errors }
    }
}

impl Ensemble {
    /// Draws `members` paths around `steps`, whose first hour has the lead `first_lead_h`.
    ///
    /// The same arguments give the same bits. The common shifts are spread evenly over their distribution, and one
    /// seed serves a place all winter, so that a chance moves only when the forecast does.
    #[must_use]
    pub fn draw(
        steps: &[Step],
        first_lead_h: f64,
        model: &ErrorModel,
        members: usize,
        seed: u64,
    ) -> Self {
        let hours = steps.len().min(HOURS_MAX);
        Self::around(steps, first_lead_h, model, &StandardErrors::new(members, hours, model, seed))
    }

    /// The same with standard errors that were drawn before: what a seed gives is the same all winter.
    #[must_use]
    pub fn around(
        steps: &[Step],
        first_lead_h: f64,
        model: &ErrorModel,
        standard: &StandardErrors,
    ) -> Self {
        let (centre, unknown_hours) = without_gaps(steps);
        let published: Vec<Option<(f64, f64)>> = steps.iter().map(published_sd_k).collect();
        let members = standard.members;
        let mut air_c = Vec::with_capacity(centre.len().min(HOURS_MAX) * members);
        let drawn = standard.errors.chunks_exact(members.max(1));
        for ((hour, &forecast_c), standard) in centre.iter().enumerate().zip(drawn) {
            let sd = model.sd(first_lead_h + count(hour), forecast_c);
            // Where the step carries quantiles, these are the forecast's own part of the spread.
            let stated = published.get(hour).copied().flatten();
            let (below, above) = stated
                .map_or((sd, sd), |(b, a)| (b.hypot(model.place_sd_k), a.hypot(model.place_sd_k)));
            for &standard in standard {
                let error = if standard < 0.0 { below * standard } else { above * standard };
                air_c.push(narrow(forecast_c + model.bias_k + error));
            }
        }
        Self { members, air_c, unknown_hours }
    }

    /// Number of paths.
    #[must_use]
    pub const fn members(&self) -> usize {
        self.members
    }

    /// Number of hours.
    #[must_use]
    pub fn hours(&self) -> usize {
        self.air_c.len().checked_div(self.members).unwrap_or(0)
    }

    /// Hours that no service spoke for and that were filled from the colder neighbour.
    #[must_use]
    pub const fn unknown_hours(&self) -> usize {
        self.unknown_hours
    }

    /// The members of each hour in turn, C: slices of length [`Ensemble::members`].
    pub fn by_hour(&self) -> impl Iterator<Item = &[f32]> {
        self.air_c.chunks_exact(self.members.max(1))
    }

    /// The same paths with further hours behind them: `air_c` holds hour after hour the members side by side; an hour that
    /// is not full is left out.
    #[must_use]
    pub fn followed_by(&self, air_c: &[f32]) -> Self {
        let mut next = self.clone();
        next.air_c.extend(air_c.chunks_exact(self.members.max(1)).flatten());
        next
    }

    /// The same paths after `change(hour, members of that hour)`.
    #[must_use]
    pub fn map_hours(mut self, mut change: impl FnMut(usize, &mut [f32])) -> Self {
        for (hour, air) in self.air_c.chunks_exact_mut(self.members.max(1)).enumerate() {
            change(hour, air);
        }
        self
    }

    /// The coldest hour of any member, C; infinite where there is none.
    #[must_use]
    pub fn coldest_c(&self) -> f32 {
        // Many minima side by side: one chain of comparisons would wait for itself.
        let (blocks, rest) = self.air_c.as_chunks::<32>();
        let mut lowest = [f32::INFINITY; 32];
        for block in blocks {
            for (low, t) in lowest.iter_mut().zip(block) {
                *low = if *t < *low { *t } else { *low };
            }
        }
        lowest.iter().chain(rest).copied().fold(f32::INFINITY, f32::min)
    }
}

/// One member: its share of the common shift, its tail factor, and where its wandering part stands.
struct Path {
    shift: f64,
    tail: f64,
    wander: f64,
}

impl Path {
    fn start(member: usize, members: usize, model: &ErrorModel, rng: &mut Normals) -> Self {
        let rank = (count(member) + 0.5) / count(members.max(1));
        let nu = f64::from(model.degrees_of_freedom.max(3));
        let squares: f64 = (0..model.degrees_of_freedom.max(3)).map(|_| rng.normal().powi(2)).sum();
        // A t variable has variance nu/(nu - 2); the factor brings it back to one.
        let tail = ((nu - 2.0) / nu).sqrt() * (nu / squares.max(1e-6)).sqrt();
        Self { shift: normal_quantile(rank), tail, wander: rng.normal() }
    }
}

/// The rank of each path by its lasting error, coldest first.
fn ranks(paths: &[Path]) -> Vec<usize> {
    let mut by_error: Vec<(usize, f64)> =
        paths.iter().map(|path| path.tail * path.shift).enumerate().collect();
    by_error.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut rank_of: Vec<(usize, usize)> =
        by_error.into_iter().enumerate().map(|(rank, (path, _))| (path, rank)).collect();
    rank_of.sort_unstable();
    rank_of.into_iter().map(|(_, rank)| rank).collect()
}

/// Standard deviations in K below and above the temperature of a step that carries its 10 and 90 % quantiles: 1.2816 of
/// them lie between (two-piece normal).
fn published_sd_k(step: &Step) -> Option<(f64, f64)> {
    const SD_TO_DECILE: f64 = 1.2816;
    const SD_K_MIN: f64 = 0.8;
    let (middle, low, high) = (step.temperature_c?, step.p10_c?, step.p90_c?);
    let sd = |width: f64| (width / SD_TO_DECILE).max(SD_K_MIN);
    (low < high).then(|| (sd(middle - low), sd(high - middle)))
}

/// Breaks the order of the evenly spread shifts, which were dealt by rank.
fn shuffled_shifts(mut paths: Vec<Path>, rng: &mut Normals) -> Vec<Path> {
    for last in (1..paths.len()).rev() {
        let other = rng.below(last + 1);
        let (a, b) = (paths.get(last).map(|p| p.shift), paths.get(other).map(|p| p.shift));
        if let (Some(a), Some(b)) = (a, b) {
            if let Some(path) = paths.get_mut(last) {
                path.shift = b;
            }
            if let Some(path) = paths.get_mut(other) {
                path.shift = a;
            }
        }
    }
    paths
}

/// The forecast temperatures without holes, C, and how many hours had to be filled past a bridgeable gap.
///
/// A gap at the end is not filled: the series ends there.
fn without_gaps(steps: &[Step]) -> (Vec<f64>, usize) {
    let mut centre: Vec<f64> = Vec::with_capacity(steps.len());
    let mut gap = 0_usize;
    let mut unknown = 0_usize;
    for step in steps {
        let Some(here) = step.temperature_c else {
            gap += 1;
            continue;
        };
        let before = centre.last().copied().unwrap_or(here);
        for filled in 1..=gap {
            let bridged = before + (here - before) * count(filled) / count(gap + 1);
            centre.push(if gap <= GAP_BRIDGED_H { bridged } else { before.min(here) });
        }
        if gap > GAP_BRIDGED_H {
            unknown += gap;
        }
        gap = 0;
        centre.push(here);
    }
    (centre, unknown)
}

/// A count as a number; counts here stay far below 2^52.
fn count(n: usize) -> f64 {
    wide(u64::try_from(n).unwrap_or(u64::MAX))
}

/// Temperatures fit an `f32` to a hundred-thousandth of a kelvin.
#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(celsius: f64) -> f32 {
    celsius as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, TimeDelta, Utc};

    fn level(hours: usize, celsius: f64) -> Vec<Step> {
        let start: DateTime<Utc> = "2022-11-12T00:00:00Z".parse().unwrap();
        (0..hours)
            .map(|h| Step {
                temperature_c: Some(celsius),
                ..Step::empty(start + TimeDelta::hours(i64::try_from(h).unwrap()))
            })
            .collect()
    }

    fn at(ensemble: &Ensemble, hour: usize) -> Vec<f64> {
        ensemble.by_hour().nth(hour).unwrap().iter().map(|t| f64::from(*t)).collect()
    }

    fn sd(values: &[f64]) -> f64 {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt()
    }

    #[test]
    fn spread_follows_the_published_table() {
        // Table of the default model at -3 C and warmer, without a place term.
        let model = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
        for (lead, sigma) in [(6.0, 1.70), (24.0, 1.83), (48.0, 2.01), (96.0, 2.37), (120.0, 2.55)]
        {
            assert!((model.sd(lead, 0.0) - sigma).abs() < 0.011, "{lead}");
        }
        for (lead, sigma) in [(144.0, 2.9), (168.0, 3.2), (240.0, 4.0)] {
            assert!((model.sd(lead, 0.0) - sigma).abs() < 0.25, "{lead}: {}", model.sd(lead, 0.0));
        }
        assert!((model.sd(24.0, -13.0) / model.sd(24.0, 0.0) - 1.25).abs() < 1e-9);
    }

    #[test]
    fn drawn_errors_have_the_spread_the_memory_and_the_tails_of_the_model() {
        let model = ErrorModel { place_sd_k: 0.0, growth_k_per_h: 0.0, ..ErrorModel::default() };
        let drawn = Ensemble::draw(&level(60, 0.0), 0.0, &model, 40_000, 7);
        let (early, later) = (at(&drawn, 10), at(&drawn, 16));
        assert!((sd(&early) / 1.65 - 1.0).abs() < 0.03, "{}", sd(&early));
        let product: f64 = early.iter().zip(&later).map(|(a, b)| a * b).sum::<f64>() / 40_000.0;
        let correlation = product / (sd(&early) * sd(&later));
        assert!((correlation - model.correlation(6.0)).abs() < 0.03, "{correlation}");
        let far = early.iter().filter(|e| **e < -3.0 * 1.65).count() as f64 / 40_000.0;
        // Beyond 3 sd: a normal has 0.135 %, a t with 8 degrees of freedom (scale 0.866 sd) 0.42 % (tables of t).
        assert!((0.003..0.0055).contains(&far), "{far}");
    }

    #[test]
    fn the_same_seed_gives_the_same_bits() {
        let draw = |seed| Ensemble::draw(&level(72, -4.0), 5.0, &ErrorModel::default(), 64, seed);
        assert_eq!(draw(3), draw(3));
        assert_ne!(draw(3), draw(4));
    }

    #[test]
    fn a_long_gap_is_never_milder_than_its_neighbours() {
        let mut steps = level(24, 1.0);
        steps[12].temperature_c = Some(-6.0);
        for step in &mut steps[5..12] {
            step.temperature_c = None;
        }
        let (centre, unknown) = without_gaps(&steps);
        assert_eq!(unknown, 7);
        assert!(centre[5..12].iter().all(|t| (*t + 6.0).abs() < 1e-9));
        steps[3].temperature_c = None;
        assert_eq!(without_gaps(&steps).0.len(), 24);
        for step in &mut steps[20..] {
            step.temperature_c = None;
        }
        assert_eq!(without_gaps(&steps).0.len(), 20, "a series is never lengthened");
    }

    #[test]
    fn normal_quantiles_match_printed_tables() {
        // Abramowitz and Stegun 1964, table 26.1.
        for (share, z) in [(0.5, 0.0), (0.9, 1.281_552), (0.975, 1.959_964), (0.001, -3.090_232)] {
            assert!((normal_quantile(share) - z).abs() < 1e-5);
        }
    }
}
