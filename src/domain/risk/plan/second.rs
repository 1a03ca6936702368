//! Second capacities: a skill that few of the crew have, the travel lift. The list is made for the pooled crew; then each
//! day's sum for each of these is checked, and the row that loses least by it is put off to the next day.

use super::Job;

/// One scarce thing: how much of it each job takes, and how much there is each day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scarce {
    /// What it is, in words: `lift`, `refrigeration`.
    pub what: String,
    /// Taken by each job, in the order of the jobs.
    pub takes: Vec<u32>,
    /// There on each day.
    pub has: Vec<u32>,
}

/// Puts rows off until no day takes more of anything than there is: the dearest to wait go first, and what is begun on one day
/// goes on the next. `done_on` is changed; answers which jobs were put off, and for want of what.
#[must_use]
pub fn put_off(
    jobs: &[Job],
    done_on: &mut [Option<usize>],
    scarce: &[Scarce],
) -> Vec<(usize, String)> {
    let mut moved: Vec<(usize, String)> = Vec::new();
    for thing in scarce {
        let mut open = thing.takes.clone();
        for (day, has) in thing.has.iter().enumerate() {
            let mut today: Vec<usize> = (0..open.len())
                .filter(|job| open.get(*job).is_some_and(|takes| *takes > 0))
                .filter(|job| done_on.get(*job).copied().flatten() == Some(day))
                .collect();
            let price = |job: usize| {
                jobs.get(job).map_or(0.0, |job| job.price_on(day + 1) - job.price_on(day))
            };
            today.sort_by(|a, b| price(*b).total_cmp(&price(*a)).then(a.cmp(b)));
            let mut left = *has;
            for job in today {
                let Some(takes) = open.get_mut(job) else { continue };
                let taken = left.min(*takes);
                (left, *takes) = (left - taken, *takes - taken);
                if *takes == 0 {
                    continue;
                }
                let next = day + 1;
                if let Some(slot) = done_on.get_mut(job) {
                    *slot = (next < thing.has.len()).then_some(next);
                }
                if !moved.iter().any(|(known, what)| *known == job && *what == thing.what) {
                    moved.push((job, thing.what.clone()));
                }
            }
        }
    }
    moved
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_row_that_loses_least_waits_for_the_lift() {
        let job = |boat: &str, waiting: f64| Job {
            boat: boat.into(),
            place: "QUAY".into(),
            minutes: 60,
            price: vec![0.0, waiting, waiting, waiting],
            due: None,
            loss: 100.0,
        };
        let jobs = [job("A", 5.0), job("B", 50.0), job("C", 20.0)];
        let mut done_on = vec![Some(0); 3];
        let lift = Scarce { what: "lift".into(), takes: vec![1, 1, 1], has: vec![1, 1, 0] };
        let moved = put_off(&jobs, &mut done_on, &[lift]);
        assert_eq!(done_on[1], Some(0));
        assert_eq!(done_on.iter().filter(|day| day.is_none()).count(), 1, "the lift has two slots");
        assert_eq!(moved.len(), 2);
    }

    #[test]
    fn a_job_longer_than_a_licensed_day_goes_over_two() {
        let job = Job {
            boat: "A".into(),
            place: "QUAY".into(),
            minutes: 131,
            price: vec![0.0; 4],
            due: None,
            loss: 0.0,
        };
        let mut done_on = vec![Some(0)];
        let gas = Scarce { what: "gas".into(), takes: vec![131], has: vec![120, 0, 120] };
        assert_eq!(put_off(&[job], &mut done_on, &[gas]), [(0, "gas".to_owned())]);
        assert_eq!(done_on, [Some(2)]);
    }
}
