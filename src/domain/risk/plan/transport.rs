//! The plan with work that may be cut into minutes: a transportation problem, minutes of each boat to days, the last
//! column "not done". Its value is a lower bound for any real list, because a boat's mean price over its minutes cannot
//! exceed the price at its end.
//!
//! Solved by successive shortest paths (classic; Ahuja, Magnanti and Orlin 1993, chapter 9): boats are put in one after
//! the other, each minute along the cheapest chain of moves between days. The days are few, so the chain is looked for
//! among days, not boats. Prices are whole numbers, rounded down, so that the value is never above the true one.

use std::collections::BTreeSet;

use super::Job;

/// Prices are counted in millionths.
const SCALE: f64 = 1e6;

/// The best plan of divisible work.
#[derive(Debug, Clone, PartialEq)]
pub struct Divided {
    /// No list can be expected to lose less.
    pub bound: f64,
    /// Mean day of each job's minutes, "not done" counted as the day after the last; in the order of the jobs.
    pub mean_day: Vec<f64>,
    /// What one more crew hour today would save.
    pub hour_value: f64,
}

/// Shares the minutes of `jobs` over the days of `capacity` (minutes each) at the least expected loss.
#[must_use]
pub fn divide(jobs: &[Job], capacity: &[u32]) -> Divided {
    let mut flow = Flow::new(jobs, capacity);
    for job in 0..jobs.len() {
        flow.put_in(job);
    }
    flow.answer()
}

struct Flow<'a> {
    jobs: &'a [Job],
    /// Columns: the days and "not done".
    columns: usize,
    /// Price of a minute of each job in each column, whole.
    cost: Vec<i64>,
    /// Minutes of each job in each column.
    minutes: Vec<u32>,
    /// Room left in each column.
    room: Vec<u32>,
    /// For each pair of columns, who would move from the first to the second at what price, cheapest first.
    movers: Vec<BTreeSet<(i64, usize)>>,
    /// The first of each.
    best: Vec<Option<(i64, usize)>>,
}

impl<'a> Flow<'a> {
    fn new(jobs: &'a [Job], capacity: &[u32]) -> Self {
        let columns = capacity.len() + 1;
        let mut cost = Vec::with_capacity(jobs.len() * columns);
        for job in jobs {
            let minutes = f64::from(job.minutes.max(1));
            for day in 0..capacity.len() {
                cost.push(whole(job.price_on(day) / minutes * SCALE));
            }
            cost.push(whole(job.price_undone() / minutes * SCALE));
        }
        let mut room = capacity.to_vec();
        room.push(u32::MAX);
        Self {
            jobs,
            columns,
            cost,
            minutes: vec![0; jobs.len() * columns],
            room,
            movers: vec![BTreeSet::new(); columns * columns],
            best: vec![None; columns * columns],
        }
    }

    fn cost(&self, job: usize, column: usize) -> i64 {
        self.cost.get(job * self.columns + column).copied().unwrap_or(i64::MAX / 4)
    }

    fn held(&self, job: usize, column: usize) -> u32 {
        self.minutes.get(job * self.columns + column).copied().unwrap_or(0)
    }

    fn put_in(&mut self, job: usize) {
        let mut left = self.jobs.get(job).map_or(0, |job| job.minutes);
        while left > 0 {
            let start: Vec<i64> = (0..self.columns).map(|column| self.cost(job, column)).collect();
            let (price, before) = self.cheapest(start);
            let Some(end) = (0..self.columns)
                .filter(|column| self.room.get(*column).is_some_and(|room| *room > 0))
                .min_by_key(|column| (price.get(*column).copied().unwrap_or(i64::MAX), *column))
            else {
                return;
            };
            let mut chain = Vec::new();
            let mut at = end;
            while let Some(&Some((from, mover))) = before.get(at) {
                chain.push((from, at, mover));
                at = from;
                if chain.len() > self.columns {
                    return;
                }
            }
            let room = self.room.get(end).copied().unwrap_or(0);
            let moved = chain
                .iter()
                .map(|(from, _, mover)| self.held(*mover, *from))
                .fold(left.min(room), u32::min);
            if moved == 0 {
                return;
            }
            for (from, to, mover) in chain {
                self.change(mover, from, |minutes| minutes.saturating_sub(moved));
                self.change(mover, to, |minutes| minutes.saturating_add(moved));
            }
            self.change(job, at, |minutes| minutes.saturating_add(moved));
            if end + 1 < self.columns
                && let Some(room) = self.room.get_mut(end)
            {
                *room -= moved;
            }
            left -= moved;
        }
    }

    /// The cheapest chain of moves to each column (Bellman and Ford), from the prices of entering each directly.
    fn cheapest(&self, mut price: Vec<i64>) -> (Vec<i64>, Vec<Option<(usize, usize)>>) {
        let mut before = vec![None; self.columns];
        for _ in 0..self.columns {
            let mut changed = false;
            for from in 0..self.columns {
                let base = price.get(from).copied().unwrap_or(i64::MAX / 4);
                let row = self.best.iter().skip(from * self.columns).take(self.columns);
                for ((to, mover), price) in row.enumerate().zip(&mut price) {
                    let Some((step, mover)) = mover else { continue };
                    if base + step < *price {
                        *price = base + step;
                        if let Some(slot) = before.get_mut(to) {
                            *slot = Some((from, *mover));
                        }
                        changed = true;
                    }
                }
            }
            if !changed {
                break;
            }
        }
        (price, before)
    }

    fn change(&mut self, job: usize, column: usize, by: impl Fn(u32) -> u32) {
        let Some(slot) = self.minutes.get_mut(job * self.columns + column) else { return };
        let (was, now) = (*slot, by(*slot));
        *slot = now;
        if (was > 0) == (now > 0) {
            return;
        }
        let own = self.cost(job, column);
        for other in (0..self.columns).filter(|other| *other != column) {
            let step = self.cost(job, other) - own;
            let pair = column * self.columns + other;
            if let (Some(movers), Some(best)) = (self.movers.get_mut(pair), self.best.get_mut(pair))
            {
                if now > 0 {
                    movers.insert((step, job));
                } else {
                    movers.remove(&(step, job));
                }
                *best = movers.first().copied();
            }
        }
    }

    fn answer(&self) -> Divided {
        let mut bound = 0.0;
        let mut mean_day = Vec::with_capacity(self.jobs.len());
        for job in 0..self.jobs.len() {
            let (mut days, mut all) = (0.0, 0.0);
            for column in 0..self.columns {
                let minutes = f64::from(self.held(job, column));
                bound += minutes * wide(self.cost(job, column)) / SCALE;
                days += minutes * super::count(column);
                all += minutes;
            }
            mean_day.push(if all > 0.0 { days / all } else { 0.0 });
        }
        // A free minute today is filled by the best chain of moves that ends there.
        let (price, _) = self.cheapest(vec![0; self.columns]);
        let hour_value = -60.0 * wide(price.first().copied().unwrap_or(0)) / SCALE;
        Divided { bound, mean_day, hour_value: hour_value.max(0.0) }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a price below 1e12 millionths a minute")]
fn whole(price: f64) -> i64 {
    price.clamp(0.0, 1e15).floor() as i64
}

#[expect(clippy::cast_precision_loss, reason = "53 bits are wanted, no more")]
const fn wide(price: i64) -> f64 {
    price as f64
}
