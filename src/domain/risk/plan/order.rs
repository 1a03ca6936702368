//! The ranked list: the order of the divided plan, made better by moving single boats forward and back; the
//! five-day index as a second start, the better of both kept. Same input, same list.
//!
//! On invented fleets the order of the transportation problem with such moves came within a few percent of its own
//! bound, where "soonest freeze first" and "dearest first" lost twice to ten times as much: measured by
//! `tests/bench/plan.rs`.

use super::transport::{Divided, divide};
use super::{INDEX_DAYS, Job};

/// A boat is moved this far at most, in a list longer than [`WHOLE_LIST`].
const WINDOW: usize = 30;
/// Up to this length every place in the list is tried.
const WHOLE_LIST: usize = 400;
/// No list needs more rounds than this; each makes it better.
const ROUNDS_MAX: usize = 60;
/// Less than this share of the loss is not worth a move.
const WORTH_A_MOVE: f64 = 1e-9;
/// Yesterday's order is kept unless the new one saves more than this share of what today's work saves.
const WORTH_A_CHANGE: f64 = 0.05;
/// Or more than this share of what the list still loses, and of what today's work saves: much that is saved is no reason
/// to leave a list far from the best.
const WORTH_OF_THE_LOSS: f64 = 0.1;
const WORTH_AT_LEAST: f64 = 0.002;
/// Boats of one place are put together where that costs less than this share of what today's work saves.
const WORTH_A_WALK: f64 = 0.02;

/// A list and what it is expected to lose.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// Indices of the jobs, first to do first.
    pub order: Vec<usize>,
    /// Day on which each job ends, in the order of the jobs; `None` if not within the days.
    pub done_on: Vec<Option<usize>>,
    /// Expected loss of the list.
    pub loss: f64,
    /// Of the divided work: bound, mean days, value of an hour.
    pub divided: Divided,
    /// Where yesterday's order of today's work was kept: the loss that a new one would have spared, which is little beside
    /// what today's work saves.
    pub kept: Option<f64>,
}

impl Ranked {
    /// How far the list may be from the best possible, as a share of the bound; 0 where both are nothing.
    #[must_use]
    pub fn gap(&self) -> f64 {
        let over = (self.loss - self.divided.bound).max(0.0);
        if over <= 1e-6 { 0.0 } else { over / self.divided.bound.max(1e-9) }
    }
}

/// Ranks `jobs` for crew `capacity` (minutes of each day). `before` is yesterday's order, for a list that does not change
/// for little; jobs that it does not know go where they fit best.
#[must_use]
pub fn rank(jobs: &[Job], capacity: &[u32], before: Option<&[usize]>) -> Ranked {
    let ends = Ends::new(capacity);
    let divided = divide(jobs, capacity);
    let mut order = by_mean_day(jobs, &divided);
    improve(&mut order, jobs, &ends);
    let mut second = by_index(jobs);
    improve(&mut second, jobs, &ends);
    if loss_of(&second, jobs, &ends) < loss_of(&order, jobs, &ends) - 1e-9 {
        order = second;
    }
    let saved = saved_today(&order, jobs, &ends);
    walk_together(&mut order, jobs, &ends, WORTH_A_WALK * saved);
    let mut kept = None;
    if let Some(before) = before {
        let mut stable = merged(before, &order, jobs.len());
        improve_tail(&mut stable, jobs, &ends, before.len());
        let anew = loss_of(&order, jobs, &ends);
        let gain = loss_of(&stable, jobs, &ends) - anew;
        let much = (WORTH_OF_THE_LOSS * anew).max(WORTH_AT_LEAST * saved);
        if stable != order && gain <= much.min(WORTH_A_CHANGE * saved) {
            order = stable;
            kept = Some(gain.max(0.0));
        }
    }
    let mut done_on = vec![None; jobs.len()];
    for (job, day) in ends.days(&order, jobs) {
        if let Some(slot) = done_on.get_mut(job) {
            *slot = day;
        }
    }
    Ranked { loss: loss_of(&order, jobs, &ends), order, done_on, divided, kept }
}

/// The expected loss of a list.
#[must_use]
pub fn loss_of(order: &[usize], jobs: &[Job], ends: &Ends) -> f64 {
    let mut end = 0_u64;
    let mut loss = 0.0;
    for job in order.iter().filter_map(|job| jobs.get(*job)) {
        end += u64::from(job.minutes);
        loss += ends.price(job, end);
    }
    loss
}

/// By what the best list would lose if nothing were done before day 0, 1, 2 ...: what waiting costs.
#[must_use]
pub fn cost_of_waiting(jobs: &[Job], capacity: &[u32], days: usize) -> Vec<f64> {
    (0..days.min(capacity.len()))
        .map(|first| {
            let late: Vec<u32> = capacity
                .iter()
                .enumerate()
                .map(|(day, minutes)| if day < first { 0 } else { *minutes })
                .collect();
            let ends = Ends::new(&late);
            let mut order = by_mean_day(jobs, &divide(jobs, &late));
            improve(&mut order, jobs, &ends);
            loss_of(&order, jobs, &ends)
        })
        .collect()
}

/// Minutes of work that fit by the end of each day.
#[derive(Debug, Clone)]
pub struct Ends(Vec<u64>);

impl Ends {
    /// From the minutes of each day.
    #[must_use]
    pub fn new(capacity: &[u32]) -> Self {
        let mut sum = 0_u64;
        Self(
            capacity
                .iter()
                .map(|minutes| {
                    sum += u64::from(*minutes);
                    sum
                })
                .collect(),
        )
    }

    /// The day on which the minute `end` of all work falls.
    fn day(&self, end: u64) -> usize {
        self.0.partition_point(|by| *by < end)
    }

    fn price(&self, job: &Job, end: u64) -> f64 {
        let day = self.day(end);
        if day < self.0.len() { job.price_on(day) } else { job.price_undone() }
    }

    /// Each job of the list with the day on which it ends.
    #[must_use]
    pub fn days(&self, order: &[usize], jobs: &[Job]) -> Vec<(usize, Option<usize>)> {
        let mut end = 0_u64;
        order
            .iter()
            .map(|job| {
                end += jobs.get(*job).map_or(0, |job| u64::from(job.minutes));
                let day = self.day(end);
                (*job, (day < self.0.len()).then_some(day))
            })
            .collect()
    }
}

fn by_mean_day(jobs: &[Job], divided: &Divided) -> Vec<usize> {
    let mut order: Vec<usize> = (0..jobs.len()).collect();
    let key = |index: &usize| {
        let mean = divided.mean_day.get(*index).copied().unwrap_or(0.0);
        let job = jobs.get(*index);
        let due = job.and_then(|job| job.due).unwrap_or(usize::MAX);
        let dense = job.map_or(0.0, |job| job.loss / f64::from(job.minutes.max(1)));
        (mean, due, dense)
    };
    order.sort_by(|a, b| {
        let (one, other) = (key(a), key(b));
        one.0
            .total_cmp(&other.0)
            .then(one.1.cmp(&other.1))
            .then(other.2.total_cmp(&one.2))
            .then_with(|| name(jobs, *a).cmp(&name(jobs, *b)))
    });
    order
}

/// Most saved an hour within the next days first.
#[must_use]
pub fn by_index(jobs: &[Job]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..jobs.len()).collect();
    let index = |job: &usize| jobs.get(*job).map_or(0.0, |job| job.saves_per_hour(INDEX_DAYS - 1));
    order.sort_by(|a, b| {
        index(b).total_cmp(&index(a)).then_with(|| name(jobs, *a).cmp(&name(jobs, *b)))
    });
    order
}

fn name(jobs: &[Job], index: usize) -> Option<&crate::domain::boat::BoatId> {
    jobs.get(index).map(|job| &job.boat)
}

fn saved_today(order: &[usize], jobs: &[Job], ends: &Ends) -> f64 {
    ends.days(order, jobs)
        .into_iter()
        .filter(|(_, day)| *day == Some(0))
        .filter_map(|(job, _)| jobs.get(job))
        .map(|job| job.price_undone() - job.price_on(0))
        .sum()
}

/// Moves single boats to better places until none helps.
pub fn improve(order: &mut [usize], jobs: &[Job], ends: &Ends) {
    let window = if order.len() <= WHOLE_LIST { order.len() } else { WINDOW };
    let worth = WORTH_A_MOVE * (1.0 + loss_of(order, jobs, ends));
    for _ in 0..ROUNDS_MAX {
        let mut moved = false;
        let mut start = 0_u64;
        let mut place = 0;
        while place < order.len() {
            if let Some(to) = best_move(order, jobs, ends, (place, start), window, worth) {
                shift(order, place, to);
                moved = true;
                // What stands here now is new: begin again where the list changed.
                place = place.min(to);
                start = begin_of(order, jobs, place);
            }
            start += minutes(order, jobs, place);
            place += 1;
        }
        if !moved {
            break;
        }
    }
}

/// Where the boat at `place` (whose work begins at `start`) had better stand; `None` where it stands well.
fn best_move(
    order: &[usize],
    jobs: &[Job],
    ends: &Ends,
    (place, start): (usize, u64),
    window: usize,
    worth: f64,
) -> Option<usize> {
    let own = jobs.get(*order.get(place)?)?;
    let length = u64::from(own.minutes);
    let now = ends.price(own, start + length);
    let mut best = (-worth, None);
    let (mut change, mut end) = (0.0, start + length);
    for (to, other) in order.iter().enumerate().skip(place + 1).take(window) {
        let Some(other) = jobs.get(*other) else { continue };
        end += u64::from(other.minutes);
        change += ends.price(other, end - length) - ends.price(other, end);
        let gain = change + ends.price(own, end) - now;
        if gain < best.0 {
            best = (gain, Some(to));
        }
    }
    let (mut change, mut end) = (0.0, start);
    for (to, other) in order.iter().enumerate().take(place).rev().take(window) {
        let Some(other) = jobs.get(*other) else { continue };
        change += ends.price(other, end + length) - ends.price(other, end);
        end -= u64::from(other.minutes);
        let gain = change + ends.price(own, end + length) - now;
        if gain < best.0 {
            best = (gain, Some(to));
        }
    }
    best.1
}

fn shift(order: &mut [usize], from: usize, to: usize) {
    if let Some(part) = order.get_mut(from.min(to)..=from.max(to)) {
        if from < to { part.rotate_left(1) } else { part.rotate_right(1) }
    }
}

fn minutes(order: &[usize], jobs: &[Job], place: usize) -> u64 {
    order.get(place).and_then(|job| jobs.get(*job)).map_or(0, |job| u64::from(job.minutes))
}

fn begin_of(order: &[usize], jobs: &[Job], place: usize) -> u64 {
    (0..place).map(|before| minutes(order, jobs, before)).sum()
}

/// Puts the boats of one day together by place, as long as all that costs no more than `may_cost`.
fn walk_together(order: &mut Vec<usize>, jobs: &[Job], ends: &Ends, may_cost: f64) {
    let before = loss_of(order, jobs, ends);
    let days = ends.days(order, jobs);
    let mut groups: Vec<(Option<usize>, &str)> = Vec::new();
    let mut keyed: Vec<(usize, usize)> = Vec::with_capacity(order.len());
    for (job, day) in days {
        let place = jobs.get(job).map_or("", |job| job.place.as_str());
        let group = groups.iter().rposition(|group| *group == (day, place)).unwrap_or_else(|| {
            groups.push((day, place));
            groups.len() - 1
        });
        keyed.push((group, job));
    }
    // Groups were met day by day; undone work stays as it is.
    keyed.sort_by_key(|(group, _)| *group);
    let together: Vec<usize> = keyed.into_iter().map(|(_, job)| job).collect();
    if loss_of(&together, jobs, ends) - before <= may_cost {
        *order = together;
    }
}

/// Yesterday's order with what is new put where the new list has it.
fn merged(before: &[usize], new: &[usize], jobs: usize) -> Vec<usize> {
    let mut known = vec![false; jobs];
    for job in before {
        if let Some(slot) = known.get_mut(*job) {
            *slot = true;
        }
    }
    let is_known = |job: &usize| known.get(*job).copied().unwrap_or(false);
    let mut order: Vec<usize> = before.iter().copied().filter(|job| *job < jobs).collect();
    for (place, job) in new.iter().enumerate().filter(|(_, job)| !is_known(job)) {
        order.insert(place.min(order.len()), *job);
    }
    order
}

/// Improves what comes after today's work of the older list: its first rows stay.
fn improve_tail(order: &mut [usize], jobs: &[Job], ends: &Ends, known: usize) {
    let today =
        ends.days(order, jobs).iter().take_while(|(_, day)| *day == Some(0)).count().min(known);
    let start = begin_of(order, jobs, today);
    let later = Ends(ends.0.iter().map(|by| by.saturating_sub(start)).collect());
    if let Some(rest) = order.get_mut(today..) {
        improve(rest, jobs, &later);
    }
}
