//! The night before: emergency drains of what cannot wait until tomorrow, chosen by the same optimiser when not all can
//! be done, then walked place by place and row by row.

use super::Job;
use super::order::rank;

/// A stop of the evening's round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stop {
    /// Index of the job.
    pub job: usize,
    /// Minutes from the start at which it is done, the ways in between not counted.
    pub done_after_min: u32,
}

/// What is drained before dark, and what is left over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Round {
    /// In walking order.
    pub stops: Vec<Stop>,
    /// Jobs that do not fit, dearest first.
    pub left_over: Vec<usize>,
    /// Minutes that are missing to do them all.
    pub short_min: u32,
}

/// Chooses and orders emergency drains for `minutes_left` crew minutes today; to wait is to wait until the evening of
/// `next`, the next working day. `location` says where in its place the boat of a job stands; places follow the dearest
/// boat in each.
#[must_use]
pub fn round(
    jobs: &[Job],
    minutes_left: u32,
    next: usize,
    location: &dyn Fn(usize) -> String,
) -> Round {
    let tonight: Vec<Job> = jobs
        .iter()
        .map(|job| Job { price: vec![job.price_on(0), job.price_on(next)], ..job.clone() })
        .collect();
    let ranked = rank(&tonight, &[minutes_left], None);
    let fits = |job: &usize| ranked.done_on.get(*job).copied().flatten().is_some();
    let mut places: Vec<&str> = Vec::new();
    let place_of = |job: usize| jobs.get(job).map_or("", |job| job.place.as_str());
    for job in ranked.order.iter().filter(|job| fits(job)) {
        if !places.contains(&place_of(*job)) {
            places.push(place_of(*job));
        }
    }
    let mut chosen: Vec<usize> = ranked.order.iter().copied().filter(|job| fits(job)).collect();
    chosen.sort_by_cached_key(|job| {
        let place = places.iter().position(|place| *place == place_of(*job));
        (place, walking_key(&location(*job)), *job)
    });
    let mut done_after_min = 0_u32;
    let stops = chosen
        .into_iter()
        .map(|job| {
            done_after_min += jobs.get(job).map_or(0, |job| job.minutes);
            Stop { job, done_after_min }
        })
        .collect();
    let all: u32 = jobs.iter().map(|job| job.minutes).sum();
    let left_over = ranked.order.iter().copied().filter(|job| !fits(job)).collect();
    Round { stops, left_over, short_min: all.saturating_sub(minutes_left) }
}

/// `Row A-4` before `Row A-12`: digits count as numbers.
#[must_use]
pub fn walking_key(location: &str) -> Vec<(String, u64)> {
    let mut parts = Vec::new();
    let mut rest = location.trim();
    while !rest.is_empty() {
        let word_end = rest.find(|c: char| c.is_ascii_digit()).unwrap_or(rest.len());
        let (word, after) = rest.split_at(word_end);
        let number_end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
        let (number, next) = after.split_at(number_end);
        parts.push((word.to_lowercase(), number.parse().unwrap_or(0)));
        rest = next;
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn job(boat: &str, place: &str, minutes: u32, lost_tonight: f64) -> Job {
        Job {
            boat: boat.into(),
            place: place.into(),
            minutes,
            price: vec![0.0, lost_tonight, lost_tonight],
            due: Some(0),
            loss: lost_tonight,
        }
    }

    #[test]
    fn what_fits_is_walked_row_by_row_and_the_cheapest_is_left_over() {
        let jobs = [
            job("A", "QUAY", 20, 5000.0),
            job("B", "UPPER", 20, 300.0),
            job("C", "QUAY", 20, 3000.0),
            job("D", "UPPER", 20, 4000.0),
        ];
        let rows = ["Row A-12", "U-1", "Row A-4", "U-2"];
        let found = round(&jobs, 60, 1, &|job| rows[job].to_owned());
        let walked: Vec<usize> = found.stops.iter().map(|stop| stop.job).collect();
        assert_eq!(walked, [2, 0, 3]);
        assert_eq!((found.left_over, found.short_min), (vec![1], 20));
        assert_eq!(found.stops[2].done_after_min, 60);
    }
}
