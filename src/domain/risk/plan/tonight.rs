//! The night before: emergency drains of what cannot wait until tomorrow, chosen by the same optimiser when not all can
//! be done, then walked place by place and row by row.

use super::Job;
use super::order::rank;
use crate::domain::boat::SiteId;

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

/// The better of a round to all places and a round to one of them alone, by what it saves: on a short evening the ways
/// to the others may cost more than there is. `minutes_left` is the crew's time today, `None` where hands are called in;
/// `way` the minutes to a place and back. The rest as for [`round`].
#[must_use]
pub fn best_round(
    jobs: &[Job],
    before_evening: &[bool],
    minutes_left: Option<u32>,
    next: usize,
    way: &dyn Fn(&SiteId) -> u32,
    location: &dyn Fn(usize) -> String,
) -> Round {
    let mut places: Vec<&SiteId> = jobs.iter().map(|job| &job.place).collect();
    places.sort();
    places.dedup();
    let ways = places.iter().map(|place| way(place)).sum();
    let left = |ways: u32| minutes_left.map_or(u32::MAX, |left| left.saturating_sub(ways));
    let everywhere = round(jobs, before_evening, left(ways), next, location);
    if everywhere.left_over.is_empty() || ways == 0 {
        return everywhere;
    }
    let pressing = |job: usize| before_evening.get(job).copied().unwrap_or(false);
    let saved = |round: &Round| -> f64 {
        let one = |index: usize, job: &Job| {
            let paid = if pressing(index) { 0.0 } else { job.price_on(0) };
            job.price_on(next) - paid
        };
        round.stops.iter().filter_map(|stop| Some(one(stop.job, jobs.get(stop.job)?))).sum()
    };
    let short_min = everywhere.short_min;
    let mut best = everywhere;
    for place in places {
        let (here, elsewhere): (Vec<usize>, Vec<usize>) =
            (0..jobs.len()).partition(|job| jobs.get(*job).is_some_and(|job| job.place == *place));
        let own: Vec<Job> = here.iter().filter_map(|job| jobs.get(*job)).cloned().collect();
        let marks: Vec<bool> = here.iter().map(|job| pressing(*job)).collect();
        let back = |job: usize| here.get(job).copied().unwrap_or(usize::MAX);
        let at = |job: usize| location(back(job));
        let mut alone = round(&own, &marks, left(way(place)), next, &at);
        for stop in &mut alone.stops {
            stop.job = back(stop.job);
        }
        for job in &mut alone.left_over {
            *job = back(*job);
        }
        alone.left_over.extend(elsewhere);
        alone.short_min = short_min;
        let more = saved(&alone).total_cmp(&saved(&best));
        if more.then(alone.stops.len().cmp(&best.stops.len())).is_gt() {
            best = alone;
        }
    }
    best
}

/// Chooses and orders emergency drains for `minutes_left` crew minutes today; to wait is to wait until the evening of
/// `next`, the next working day. Jobs marked `before_evening` pass their tolerance while the crew is still at work: the
/// evening's prices cannot tell an hour gained on them, so they go before all others. `location` says where in its place the boat of a job stands; places follow the dearest
/// boat in each.
#[must_use]
pub fn round(
    jobs: &[Job],
    before_evening: &[bool],
    minutes_left: u32,
    next: usize,
    location: &dyn Fn(usize) -> String,
) -> Round {
    let tonight: Vec<Job> = jobs
        .iter()
        .map(|job| Job { price: vec![job.price_on(0), job.price_on(next)], ..job.clone() })
        .collect();
    let first = |job: usize| before_evening.get(job).copied().unwrap_or(false);
    let (mut order, mut fitting) = (Vec::new(), Vec::new());
    let mut left = minutes_left;
    // Those that cannot wait for the evening: the dearest of them that fit.
    let mut pressing: Vec<usize> = (0..jobs.len()).filter(|job| first(*job)).collect();
    let dear = |job: usize| tonight.get(job).map_or(0.0, |job| job.price_on(1));
    pressing.sort_by(|a, b| dear(*b).total_cmp(&dear(*a)));
    for job in pressing {
        let minutes = jobs.get(job).map_or(0, |job| job.minutes);
        if minutes <= left {
            left -= minutes;
            fitting.push(job);
        }
        order.push(job);
    }
    let rest: Vec<usize> = (0..jobs.len()).filter(|job| !first(*job)).collect();
    let others: Vec<Job> = rest.iter().filter_map(|job| tonight.get(*job)).cloned().collect();
    let ranked = rank(&others, &[left], None);
    for place in ranked.order {
        let Some(job) = rest.get(place).copied() else { continue };
        if ranked.done_on.get(place).copied().flatten().is_some() {
            fitting.push(job);
        }
        order.push(job);
    }
    let fits = |job: &usize| fitting.contains(job);
    let mut places: Vec<&str> = Vec::new();
    let place_of = |job: usize| jobs.get(job).map_or("", |job| job.place.as_str());
    for job in order.iter().filter(|job| fits(job)) {
        if !places.contains(&place_of(*job)) {
            places.push(place_of(*job));
        }
    }
    let mut chosen: Vec<usize> = order.iter().copied().filter(|job| fits(job)).collect();
    // Place by place, the pressing ones of each place first: nobody drives to and fro for one boat.
    chosen.sort_by_cached_key(|job| {
        let place = places.iter().position(|place| *place == place_of(*job));
        (place, !first(*job), walking_key(&location(*job)), *job)
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
    let left_over = order.iter().copied().filter(|job| !fits(job)).collect();
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
        let found = round(&jobs, &[false; 4], 60, 1, &|job| rows[job].to_owned());
        let walked: Vec<usize> = found.stops.iter().map(|stop| stop.job).collect();
        assert_eq!(walked, [2, 0, 3]);
        assert_eq!((found.left_over, found.short_min), (vec![1], 20));
        assert_eq!(found.stops[2].done_after_min, 60);
    }

    #[test]
    fn what_freezes_while_the_crew_works_goes_before_what_freezes_at_night() {
        let jobs = [
            job("A", "UPPER", 20, 9000.0),
            job("B", "QUAY", 40, 0.0),
            job("C", "DOCK", 20, 8000.0),
            job("D", "QUAY", 20, 100.0),
        ];
        let found = round(&jobs, &[false, true, false, false], 80, 1, &|job| format!("Row {job}"));
        let walked: Vec<usize> = found.stops.iter().map(|stop| stop.job).collect();
        assert_eq!(walked, [1, 0, 2]);
        assert_eq!((found.left_over, found.short_min), (vec![3], 20));
    }

    #[test]
    fn a_short_evening_goes_to_the_place_that_can_be_reached() {
        let jobs = [job("A", "QUAY", 20, 5000.0), job("B", "UPPER", 5, 9000.0)];
        let way = |place: &SiteId| if place.as_str() == "UPPER" { 60 } else { 0 };
        let at = |_: usize| String::new();
        let none = round(&jobs, &[false; 2], 0, 1, &at);
        assert!(none.stops.is_empty());
        let found = best_round(&jobs, &[false; 2], Some(30), 1, &way, &at);
        assert_eq!(found.stops.iter().map(|stop| stop.job).collect::<Vec<_>>(), [0]);
        assert_eq!((found.left_over, found.short_min), (vec![1], 25));
        let both = best_round(&jobs, &[false; 2], Some(90), 1, &way, &at);
        assert_eq!((both.stops.len(), both.left_over.len()), (2, 0));
        let called = best_round(&jobs, &[false; 2], None, 1, &way, &at);
        assert_eq!((called.stops.len(), called.short_min), (2, 0));
    }
}
