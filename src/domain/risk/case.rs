//! One distinct case: a part of one thermal class, full of one liquid, in one kind of air, through all members.

use crate::domain::physics::part::{MARKS, Members, PartModel};
use crate::domain::weather::errors::Ensemble;

use super::Limit;

/// The three limits in the order in which a cooling part passes them.
pub const LIMITS: [Limit; MARKS] = [Limit::FirstIce, Limit::Slush, Limit::Burst];

/// What became of a case: for each limit and hour the share of members that have passed it by the end of that hour.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Share of ice at the start.
    pub ice_now: f64,
    /// Temperature of the part at the start, C.
    pub temperature_now_c: f64,
    passed: [Vec<f64>; 3],
}

impl Outcome {
    /// A part that stays clearly above its first ice in every member.
    #[must_use]
    pub fn nothing_freezes(temperature_now_c: f64, hours: usize) -> Self {
        let passed = std::array::from_fn(|_| vec![0.0; hours]);
        Self { ice_now: 0.0, temperature_now_c, passed }
    }

    /// Chance that `limit` is passed by the end of hour `hour` (0 = the first), or was at the start.
    #[must_use]
    pub fn chance_by(&self, limit: Limit, hour: usize) -> f64 {
        let series = self.series(limit);
        series.get(hour).or(series.last()).copied().unwrap_or(f64::from(u8::from(self.past(limit))))
    }

    /// Was `limit` passed at the start?
    #[must_use]
    pub fn past(&self, limit: Limit) -> bool {
        self.ice_now >= limit.ice_share()
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

/// Takes every member from `enthalpy` through the coming hours; `wind_factors` multiply the heat loss hour by hour.
#[must_use]
pub fn through_the_ensemble(
    model: &PartModel,
    enthalpy: f64,
    air: &Ensemble,
    wind_factors: Option<&[f64]>,
) -> Outcome {
    let mut members =
        Members::new(model, enthalpy, marks(model), air.members()).resting_once_past();
    let mut past = members.past();
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
        ice_now: model.ice_share(enthalpy),
        temperature_now_c: model.temperature(enthalpy),
        passed,
    }
}

fn share(count: usize, of: usize) -> f64 {
    let number = |count: usize| f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    number(count) / number(of.max(1))
}

/// The heat below which each limit is passed; never, where the liquid's data end before it.
fn marks(model: &PartModel) -> [f64; MARKS] {
    LIMITS.map(|limit| model.enthalpy_at_ice_share(limit.ice_share()).unwrap_or(f64::NEG_INFINITY))
}
