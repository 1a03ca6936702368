//! From a list to days: who can be worked on when, by how many hands, and by whose licence. One pass forward: each day the
//! first of the list that can be begun, as far as the crew's minutes and those of the licensed reach; what is begun goes on.

use super::Job;

/// A skill that few have: how much of it each job takes, and how much there is each day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scarce {
    /// What it is, in words: `refrigeration`.
    pub what: String,
    /// Minutes of each job that ask for it, in the order of the jobs.
    pub takes: Vec<u32>,
    /// Minutes there on each day.
    pub has: Vec<u32>,
}

/// When each job can be begun, and with what.
#[derive(Debug, Clone, Copy)]
pub struct Room<'a> {
    /// The first day on which each job can be worked on.
    pub from: &'a [usize],
    /// Crew minutes of each day.
    pub capacity: &'a [u32],
    /// Skills that few have.
    pub scarce: &'a [Scarce],
}

/// When the jobs end.
#[derive(Debug, Clone, PartialEq)]
pub struct Scheduled {
    /// The day on which each job ends; `None` if not within the days.
    pub done_on: Vec<Option<usize>>,
    /// The day on which each job is begun.
    pub begun_on: Vec<Option<usize>>,
    /// Jobs that had to wait for a skill, and which.
    pub waited: Vec<(usize, String)>,
    /// What the list is expected to lose.
    pub loss: f64,
}

/// Goes through `order` day by day.
#[must_use]
pub fn schedule(order: &[usize], jobs: &[Job], room: Room<'_>) -> Scheduled {
    let mut open: Vec<u32> = jobs.iter().map(|job| job.minutes).collect();
    let mut skilled: Vec<Vec<u32>> = room.scarce.iter().map(|thing| thing.takes.clone()).collect();
    let mut done_on: Vec<Option<usize>> = vec![None; jobs.len()];
    let mut begun_on: Vec<Option<usize>> = vec![None; jobs.len()];
    let mut waited: Vec<(usize, String)> = Vec::new();
    let mut waiting: Vec<usize> = order.to_vec();
    for (day, minutes) in room.capacity.iter().enumerate() {
        let mut left = *minutes;
        let mut has: Vec<u32> =
            room.scarce.iter().map(|thing| thing.has.get(day).copied().unwrap_or(0)).collect();
        for job in &waiting {
            if left == 0 {
                break;
            }
            if room.from.get(*job).is_some_and(|from| *from > day) {
                continue;
            }
            let Some(own) = open.get_mut(*job) else { continue };
            let before = *own;
            let mut rest = *own;
            for ((takes, has), thing) in skilled.iter_mut().zip(&mut has).zip(room.scarce) {
                let Some(takes) = takes.get_mut(*job) else { continue };
                let part = (*takes).min(*own);
                let taken = part.min(*has).min(left);
                (*takes, *has, left) = (part - taken, *has - taken, left - taken);
                *own -= taken;
                rest = rest.saturating_sub(part);
                if *takes > 0 && left > 0 && !waited.iter().any(|known| known.0 == *job) {
                    waited.push((*job, thing.what.clone()));
                }
            }
            let taken = rest.min(left).min(*own);
            (left, *own) = (left - taken, *own - taken);
            if *own < before
                && let Some(slot) = begun_on.get_mut(*job)
            {
                slot.get_or_insert(day);
            }
            if *own == 0
                && let Some(slot) = done_on.get_mut(*job)
            {
                *slot = Some(day);
            }
        }
        waiting.retain(|job| done_on.get(*job).is_some_and(Option::is_none));
    }
    let price = |(job, day): (&Job, &Option<usize>)| {
        day.map_or(job.price_undone(), |day| job.price_on(day))
    };
    let loss = jobs.iter().zip(&done_on).map(price).sum();
    Scheduled { done_on, begun_on, waited, loss }
}

/// The better of a list and of the same jobs by the day on which they fall due, with the order that was taken: where jobs
/// have to wait, the list alone may let one wait that cannot.
#[must_use]
pub fn better_of(order: &[usize], jobs: &[Job], room: Room<'_>) -> (Vec<usize>, Scheduled) {
    let as_listed = schedule(order, jobs, room);
    let mut by_due = order.to_vec();
    by_due.sort_by_key(|job| jobs.get(*job).and_then(|job| job.due).unwrap_or(usize::MAX));
    let due_first = schedule(&by_due, jobs, room);
    if due_first.loss < as_listed.loss - 1e-9 {
        (by_due, due_first)
    } else {
        (order.to_vec(), as_listed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn job(boat: &str, minutes: u32, due: Option<usize>) -> Job {
        let price = (0..6).map(|day| if due.is_some_and(|due| day > due) { 10.0 } else { 0.0 });
        Job {
            boat: boat.into(),
            place: "QUAY".into(),
            minutes,
            price: price.collect(),
            due,
            loss: 10.0,
        }
    }

    fn run(jobs: &[Job], from: &[usize], capacity: &[u32], scarce: &[Scarce]) -> Scheduled {
        let order: Vec<usize> = (0..jobs.len()).collect();
        schedule(&order, jobs, Room { from, capacity, scarce })
    }

    #[test]
    fn hours_of_a_boat_that_has_to_wait_go_to_the_next_of_the_list() {
        let jobs = [job("A", 60, None), job("B", 60, None), job("C", 30, None)];
        let found = run(&jobs, &[2, 0, 0], &[60, 60, 60], &[]);
        assert_eq!(found.done_on, [Some(2), Some(0), Some(1)]);
    }

    #[test]
    fn a_job_longer_than_a_licensed_day_goes_over_two_and_others_use_the_hours() {
        let jobs = [job("A", 131, None), job("B", 60, None)];
        let gas = Scarce { what: "gas".into(), takes: vec![131, 0], has: vec![120, 120, 120] };
        let found = run(&jobs, &[0, 0], &[240, 240, 240], &[gas]);
        assert_eq!(found.done_on, [Some(1), Some(0)]);
        assert_eq!(found.begun_on, [Some(0), Some(0)]);
        assert_eq!(found.waited, [(0, "gas".to_owned())]);
    }

    #[test]
    fn the_licence_is_not_left_idle_and_no_day_is_overbooked() {
        let jobs: Vec<Job> = (0..6).map(|n| job(&n.to_string(), 90, None)).collect();
        let scarce = Scarce { what: "gas".into(), takes: vec![60; 6], has: vec![120; 6] };
        let found = run(&jobs, &[0; 6], &[200; 6], &[scarce]);
        let ends: Vec<usize> = found.done_on.iter().map(|day| day.unwrap()).collect();
        assert_eq!(ends, [0, 0, 1, 1, 2, 2]);
    }

    #[test]
    fn what_is_due_first_goes_first_where_the_list_would_let_it_wait() {
        let jobs = [job("A", 60, Some(5)), job("B", 60, Some(1))];
        let room = Room { from: &[0, 1], capacity: &[0, 60, 60, 60], scarce: &[] };
        let (order, found) = better_of(&[0, 1], &jobs, room);
        assert_eq!((order, found.done_on), (vec![1, 0], vec![Some(2), Some(1)]));
    }
}
