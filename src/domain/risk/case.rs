//! One distinct case: a part of one thermal class, full of one liquid, in one kind of air, through all members.

use crate::domain::physics::part::{MARKS, Members, PartModel};
use crate::domain::weather::errors::Ensemble;

use super::Limit;
use super::start::Start;

/// From this share of the members on a part is told as frozen.
pub const TOLD_AS_FROZEN: f64 = 0.5;

/// The three limits in the order in which a cooling part passes them.
pub const LIMITS: [Limit; MARKS] = [Limit::FirstIce, Limit::Slush, Limit::Burst];

/// What became of a case: for each limit and hour the share of members that have passed it by the end of that hour.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Share of ice at the start, in the middle of where the part may stand.
    pub ice_now: f64,
    /// Temperature of the part at the start, C, likewise.
    pub temperature_now_c: f64,
    /// For each limit the share of members that had passed it by the start.
    before: [f64; MARKS],
    passed: [Vec<f64>; MARKS],
}

impl Outcome {
    /// A part that stays clearly above its first ice in every member.
    #[must_use]
    pub fn nothing_freezes(temperature_now_c: f64, hours: usize) -> Self {
        let passed = std::array::from_fn(|_| vec![0.0; hours]);
        Self { ice_now: 0.0, temperature_now_c, before: [0.0; MARKS], passed }
    }

    /// Chance that `limit` is passed by the end of hour `hour` (0 = the first), or was at the start.
    #[must_use]
    pub fn chance_by(&self, limit: Limit, hour: usize) -> f64 {
        let series = self.series(limit);
        series.get(hour).or(series.last()).copied().unwrap_or(self.passed_before(limit))
    }

    /// Share of the members that had passed `limit` by the start, in hours that are known; what has thawed since counts.
    #[must_use]
    pub const fn passed_before(&self, limit: Limit) -> f64 {
        let [first_ice, slush, burst] = self.before;
        match limit {
            Limit::FirstIce => first_ice,
            Limit::Slush => slush,
            Limit::Burst => burst,
        }
    }

    /// Was `limit` passed by the start, as far as half of the members or more go?
    #[must_use]
    pub fn past(&self, limit: Limit) -> bool {
        self.passed_before(limit) >= TOLD_AS_FROZEN
    }

    /// Has it thawed since?
    #[must_use]
    pub fn is_thawed(&self) -> bool {
        self.ice_now <= 0.0
    }

    /// The first hour by whose end the chance reaches `threshold`, within the first `hours`.
    #[must_use]
    pub fn first_hour(&self, limit: Limit, threshold: f64, hours: usize) -> Option<usize> {
        self.series(limit).iter().take(hours).position(|chance| *chance >= threshold)
    }

    /// Hours looked at.
    #[must_use]
    pub fn hours(&self) -> usize {
        self.series(Limit::FirstIce).len()
    }

    fn series(&self, limit: Limit) -> &[f64] {
        let [first_ice, slush, burst] = &self.passed;
        match limit {
            Limit::FirstIce => first_ice,
            Limit::Slush => slush,
            Limit::Burst => burst,
        }
    }
}

/// Takes the members through the coming hours, from the states at the start in turn; `wind_factors` multiply the heat loss hour by
/// hour.
#[must_use]
pub fn through_the_ensemble(
    start: &Start,
    air: &Ensemble,
    wind_factors: Option<&[f64]>,
) -> Outcome {
    let model = &start.model;
    let states: Vec<(f64, f64)> = start.states.iter().map(|s| (s.now_j, s.lowest_j)).collect();
    let mut members =
        Members::starting(model, &states, marks(model), air.members()).resting_once_past();
    let mut past = members.past();
    let before = past.map(|count| share(count, air.members()));
    let mut passed: [Vec<f64>; MARKS] = std::array::from_fn(|_| Vec::with_capacity(air.hours()));
    let mut factors = wind_factors.unwrap_or_default().iter().copied();
    for hour in air.by_hour() {
        let factor = factors.next().unwrap_or(1.0);
        if past.iter().any(|count| *count < air.members()) {
            members.step(hour, factor);
            past = members.past();
        }
        for (series, count) in passed.iter_mut().zip(past) {
            series.push(share(count, air.members()));
        }
    }
    Outcome {
        ice_now: model.ice_share(start.middle_j()),
        temperature_now_c: model.temperature(start.middle_j()),
        before,
        passed,
    }
}

/// The hour by whose end what is ice at the start has thawed in the mean of the members; `None` where there is none, or none does.
#[must_use]
pub fn thaw_hour(start: &Start, air: &Ensemble, wind_factors: Option<&[f64]>) -> Option<usize> {
    let model = &start.model;
    let mut state_j = start.middle_j();
    if model.ice_share(state_j) <= 0.0 {
        return None;
    }
    let mut factors = wind_factors.unwrap_or_default().iter().copied();
    air.by_hour().position(|hour| {
        let sum_c: f64 = hour.iter().copied().map(f64::from).sum();
        let mean_c = sum_c * share(1, hour.len());
        state_j = model.step(state_j, mean_c, factors.next().unwrap_or(1.0));
        model.ice_share(state_j) <= 0.0
    })
}

fn share(count: usize, of: usize) -> f64 {
    let number = |count: usize| f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    number(count) / number(of.max(1))
}

/// The heat below which each limit is passed; never, where the liquid's data end before it.
fn marks(model: &PartModel) -> [f64; MARKS] {
    LIMITS.map(|limit| model.enthalpy_at_ice_share(limit.ice_share()).unwrap_or(f64::NEG_INFINITY))
}
