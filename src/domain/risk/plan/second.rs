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

/// Puts rows off until no day takes more of anything than there is. `done_on` is changed; answers which jobs were put
/// off, and for want of what.
#[must_use]
pub fn put_off(
    jobs: &[Job],
    done_on: &mut [Option<usize>],
    scarce: &[Scarce],
) -> Vec<(usize, String)> {
    let mut moved: Vec<(usize, String)> = Vec::new();
    for thing in scarce {
        for (day, has) in thing.has.iter().enumerate() {
            loop {
                let on_day = || {
                    thing.takes.iter().enumerate().filter(|(job, takes)| {
                        **takes > 0 && done_on.get(*job).copied().flatten() == Some(day)
                    })
                };
                let sum: u64 = on_day().map(|(_, takes)| u64::from(*takes)).sum();
                if sum <= u64::from(*has) {
                    break;
                }
                let price = |job: usize| {
                    jobs.get(job).map_or(0.0, |job| job.price_on(day + 1) - job.price_on(day))
                };
                let cheapest =
                    on_day().map(|(job, _)| job).min_by(|a, b| price(*a).total_cmp(&price(*b)));
                let Some(job) = cheapest else { break };
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
}
