//! By which day the crew must start: demand against capacity over the due days (the test of Jackson 1955 and Horn 1974
//! for one pooled crew), and the fewest boats that must be late (J. M. Moore, Management Science 15, 1968).

/// The last day with a chance at or under `tolerance`, which is what a rush costs over what it spares (the cost-loss model:
/// Thompson 1952, Murphy 1977). `chance` holds, for each day, the chance that the damage is done
/// by the evening of that day, and last the chance by the end of all days.
///
/// `None` where the chance never passes the tolerance; day 0 where it has passed it already.
#[must_use]
pub fn last_day_at(chance: &[f64], tolerance: f64) -> Option<usize> {
    let first_over = chance.iter().position(|chance| *chance > tolerance)?;
    Some(first_over.saturating_sub(1))
}

/// The answer to "when must we start".
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MustStart {
    /// Last day on which the work can begin and still meet every due day; `None` when nothing is due, or when even
    /// today is too late.
    pub latest_start: Option<usize>,
    /// The due days that do not allow to begin a day later.
    pub binding: Vec<usize>,
    /// Crew minutes that are missing if the crew begins today; 0 if none.
    pub short_minutes: u32,
    /// Minutes of all work that is due by the last binding day; of all that has a due day where none binds.
    pub due_minutes: u32,
    /// Crew minutes needed on each working day from today on to meet every due day.
    pub need_minutes: u32,
}

/// Checks work `(minutes, due day)` against `capacity`, the crew minutes of each day from today on.
#[must_use]
pub fn must_start(work: &[(u32, usize)], capacity: &[u32]) -> MustStart {
    let mut days: Vec<usize> = work.iter().map(|(_, due)| *due).collect();
    days.sort_unstable();
    days.dedup();
    let demand = |day: usize| sum(work.iter().filter(|(_, due)| *due <= day).map(|(m, _)| *m));
    let demands: Vec<(usize, u32)> = days.iter().map(|day| (*day, demand(*day))).collect();
    let between = |from: usize, to: usize| {
        sum(capacity.iter().take(to.saturating_add(1)).skip(from).copied())
    };
    let missing =
        |from: usize, (day, demand): (usize, u32)| demand.saturating_sub(between(from, day));
    let feasible = |from: usize| demands.iter().all(|due| missing(from, *due) == 0);
    let latest_start =
        if work.is_empty() { None } else { (0..capacity.len()).rev().find(|from| feasible(*from)) };
    let short_minutes = demands.iter().map(|due| missing(0, *due)).max().unwrap_or(0);
    let binding: Vec<usize> = match latest_start {
        Some(start) => {
            demands.iter().filter(|due| missing(start + 1, **due) > 0).map(|due| due.0).collect()
        }
        None => demands
            .iter()
            .filter(|due| short_minutes > 0 && missing(0, **due) == short_minutes)
            .map(|due| due.0)
            .collect(),
    };
    let due_minutes = match binding.last() {
        Some(day) => demand(*day),
        None => sum(work.iter().map(|(minutes, _)| *minutes)),
    };
    let need = |(day, demand): &(usize, u32)| {
        let working = capacity.iter().take(day + 1).filter(|minutes| **minutes > 0).count();
        demand.div_ceil(u32::try_from(working.max(1)).unwrap_or(1))
    };
    MustStart {
        latest_start,
        binding,
        short_minutes,
        due_minutes,
        need_minutes: demands.iter().map(need).max().unwrap_or(0),
    }
}

/// Crew minutes a whole working day that would meet every due day. `shares` says what part of a working day is left of each
/// day: 0 where nobody works, less than 1 of today. Days before which nobody works are left out: no hours help there.
#[must_use]
pub fn needed_a_day(work: &[(u32, usize)], shares: &[f64]) -> u32 {
    let mut days: Vec<usize> = work.iter().map(|(_, due)| *due).collect();
    days.sort_unstable();
    days.dedup();
    let need = |day: usize| {
        let demand = sum(work.iter().filter(|(_, due)| *due <= day).map(|(m, _)| *m));
        let left: f64 = shares.iter().take(day.saturating_add(1)).sum();
        if left > 0.0 { (f64::from(demand) / left).ceil() } else { 0.0 }
    };
    let most = days.into_iter().map(need).fold(0.0, f64::max);
    format!("{:.0}", most.min(1e7)).parse().unwrap_or(u32::MAX)
}

/// The last day on which each piece of work can begin when all that is due earlier goes first; `None` where today is
/// too late. In the order of `work`.
#[must_use]
pub fn latest_starts(work: &[(u32, usize)], capacity: &[u32]) -> Vec<Option<usize>> {
    let mut order: Vec<usize> = (0..work.len()).collect();
    let due = |index: usize| work.get(index).map_or(0, |(_, due)| *due);
    order.sort_by_key(|index| (due(*index), *index));
    let mut found = vec![None; work.len()];
    // From the back: the last piece takes the last minutes before its due day, and so on towards today.
    let mut left: Vec<u32> = capacity.to_vec();
    for index in order.into_iter().rev() {
        let Some(&(minutes, due)) = work.get(index) else { continue };
        let mut open = minutes;
        let mut start = None;
        for day in (0..=due.min(left.len().saturating_sub(1))).rev() {
            let Some(room) = left.get_mut(day) else { continue };
            let taken = open.min(*room);
            *room -= taken;
            open -= taken;
            if open == 0 {
                start = Some(day);
                break;
            }
        }
        if let Some(slot) = found.get_mut(index) {
            *slot = start;
        }
    }
    found
}

/// The fewest pieces of work `(minutes, due minute)` that must be late on one crew, as indices, ascending.
///
/// Earliest due first; when one would be late, the longest so far is put off (Moore 1968).
#[must_use]
pub fn fewest_late(work: &[(u64, u64)]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..work.len()).collect();
    let of = |index: usize| work.get(index).copied().unwrap_or((0, 0));
    order.sort_by_key(|index| (of(*index).1, *index));
    let mut kept: Vec<usize> = Vec::new();
    let mut late = Vec::new();
    let mut end = 0_u64;
    for index in order {
        let (minutes, due) = of(index);
        kept.push(index);
        end = end.saturating_add(minutes);
        if end <= due {
            continue;
        }
        let longest = kept.iter().copied().enumerate().max_by_key(|(_, kept)| of(*kept).0);
        if let Some((place, dropped)) = longest {
            kept.remove(place);
            end = end.saturating_sub(of(dropped).0);
            late.push(dropped);
        }
    }
    late.sort_unstable();
    late
}

fn sum(minutes: impl Iterator<Item = u32>) -> u32 {
    minutes.fold(0, u32::saturating_add)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn latest_start_of_the_worked_example() {
        // 8 h a day; 5 h due day 2, 4 h due day 3, 15 h due day 5 (day 1 is index 0): start of day 2, binding 2 and 3.
        let work = [(180, 1), (120, 1), (240, 2), (360, 4), (300, 4), (240, 4)];
        let found = must_start(&work, &[480; 5]);
        assert_eq!(found.latest_start, Some(1));
        assert_eq!(found.binding, [1, 2]);
        assert_eq!(found.short_minutes, 0);
        assert_eq!(found.need_minutes, 288, "24 h by day 5: 4.8 h a day");
    }

    #[test]
    fn a_crew_that_is_too_small_is_told_by_how_much() {
        let found = must_start(&[(600, 0), (600, 1)], &[480, 480]);
        assert_eq!((found.latest_start, found.short_minutes), (None, 240));
        assert_eq!(found.binding, [1]);
        assert_eq!(found.need_minutes, 600);
    }

    #[test]
    fn days_off_are_no_days() {
        // Friday, Saturday, Sunday, Monday; 10 h due Monday.
        let found = must_start(&[(600, 3)], &[480, 0, 0, 480]);
        assert_eq!((found.latest_start, found.need_minutes), (Some(0), 300));
    }

    #[test]
    fn each_piece_has_its_own_latest_start() {
        let starts = latest_starts(&[(480, 2), (240, 2), (240, 0)], &[480; 3]);
        assert_eq!(starts, [Some(1), Some(2), Some(0)]);
    }

    #[test]
    fn moore_hodgson_on_the_textbook_case() {
        // Pinedo, Scheduling, chapter 3: jobs 1 and 2 are late.
        let work = [(7, 9), (8, 17), (4, 18), (6, 19), (6, 21)];
        assert_eq!(fewest_late(&work), [0, 1]);
        // Ten jobs of a course exercise: jobs 7 and 8 are late.
        let p = [19, 23, 5, 31, 17, 8, 32, 41, 26, 18];
        let d = [48, 75, 170, 215, 205, 240, 85, 67, 100, 95];
        let work: Vec<(u64, u64)> = p.into_iter().zip(d).collect();
        let late = fewest_late(&work);
        assert_eq!(late, [6, 7]);
        let end: u64 = (0..10).filter(|j| !late.contains(j)).map(|j| work[j].0).sum();
        assert_eq!(end, 147);
    }

    #[test]
    fn cost_and_loss_of_one_boat() {
        // Cost 150, loss 6000: act above 2.5 % (the cost-loss model: Thompson 1952, Murphy 1977). That is the tolerance.
        let tolerance = 150.0 / 6000.0;
        assert_eq!(last_day_at(&[0.0, 0.025, 0.026], tolerance), Some(1));
        assert_eq!(last_day_at(&[0.0, 0.025], tolerance), None, "not worth a rush");
    }

    #[test]
    fn the_due_day_is_the_last_one_under_the_tolerance() {
        assert_eq!(last_day_at(&[0.0, 0.02, 0.06, 0.2], 0.05), Some(1));
        assert_eq!(last_day_at(&[0.2, 0.3], 0.05), Some(0));
        assert_eq!(last_day_at(&[0.0, 0.05], 0.05), None);
    }

    #[test]
    fn the_minutes_bound_by_a_day_leave_out_what_is_due_later() {
        // 78 minutes due on day 1, 46 on day 3; an hour a day: the first binds, the second does not.
        let found = must_start(&[(78, 1), (46, 3)], &[60, 60, 60, 60]);
        assert_eq!((found.binding.clone(), found.due_minutes), (vec![1], 78));
        let none = must_start(&[], &[60]);
        assert_eq!((none.binding.len(), none.due_minutes), (0, 0));
    }
}
