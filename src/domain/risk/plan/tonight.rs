//! The night before: emergency drains of what cannot wait until the next working day, chosen by the same optimiser when
//! not all can be done, then walked place by place and row by row; what freezes while the crew is at work goes by the hour.

mod walk;
mod errand;

use super::Job;
use super::order::rank;
use crate::domain::boat::SiteId;
use errand::PLACES_TRIED;
pub use errand::{Errand, Evening, Stop};
pub use walk::{at_the_thaw, walking_key};
use walk::{by_the_hour, in_parties, walked};

/// What is drained before dark, and what is left over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Round {
    /// In walking order.
    pub stops: Vec<Stop>,
    /// Errands that do not fit, dearest first.
    pub left_over: Vec<usize>,
    /// Minutes that are missing to do them all.
    pub short_min: u32,
    /// Where not all fits with everybody going together, and all of it would in two parties: the places of each.
    pub parties: Option<(Vec<SiteId>, Vec<SiteId>)>,
}

impl Round {
    /// The same with other numbers for its errands: `names` has the new one of each.
    #[must_use]
    pub fn renamed(mut self, names: &[usize]) -> Self {
        let name = |job: usize| names.get(job).copied().unwrap_or(usize::MAX);
        for stop in &mut self.stops {
            stop.job = name(stop.job);
        }
        for job in &mut self.left_over {
            *job = name(*job);
        }
        self
    }

    /// The stops within the day's hours.
    pub fn within_hours(&self) -> impl DoubleEndedIterator<Item = &Stop> {
        self.stops.iter().filter(|stop| !stop.early && !stop.after_hours)
    }

    /// Crew minutes of all stops within the day's hours.
    #[must_use]
    pub fn work_min(&self) -> u32 {
        self.within_hours().map(|stop| stop.minutes).sum()
    }

    /// The same with stops after the day's hours.
    #[must_use]
    pub fn then(mut self, at_the_thaw: Vec<Stop>) -> Self {
        self.stops.extend(at_the_thaw);
        self
    }

    /// The same after `first`, a round of its own before the working day begins.
    #[must_use]
    pub fn after(self, first: Self) -> Self {
        let early = first.stops.into_iter().map(|stop| Stop { early: true, ..stop });
        Self { stops: early.chain(self.stops).collect(), ..self }
    }
}

/// The best round to all places or to some of them, by what it saves: on a short evening the ways to the others may cost more
/// than there is.
#[must_use]
pub fn best_round(errands: &[Errand], evening: &Evening<'_>) -> Round {
    let mut places: Vec<&SiteId> = errands.iter().map(|errand| &errand.job.place).collect();
    places.sort();
    places.dedup();
    let way = |place: &SiteId| (evening.way)(place).saturating_mul(evening.people);
    // To what has to thaw one goes a second time, where there are other places to go to meanwhile.
    let again = |chosen: &[&SiteId]| -> u32 {
        if chosen.len() < 2 {
            return 0;
        }
        let waits = |place: &SiteId| {
            errands.iter().any(|errand| errand.after_min > 0 && errand.job.place == *place)
        };
        chosen.iter().filter(|place| waits(place)).map(|place| way(place)).sum()
    };
    let left = |ways: u32| evening.minutes_left.map_or(u32::MAX, |left| left.saturating_sub(ways));
    // With the place that has to thaw at the end of the walk one way may do for both.
    let tried = |own: &[Errand], chosen: &[&SiteId]| {
        let ways = chosen.iter().map(|place| way(place)).sum::<u32>();
        let once = round(own, left(ways), evening);
        let again = again(chosen);
        if again == 0 || evening.minutes_left.is_none_or(|left| takes(&once, own, evening) <= left)
        {
            return once;
        }
        round(own, left(ways + again), evening)
    };
    let ways = places.iter().map(|place| way(place)).sum::<u32>();
    let mut everywhere = tried(errands, &places);
    let whole = takes(&round(errands, u32::MAX, evening), errands, evening);
    everywhere.short_min = evening.minutes_left.map_or(0, |left| whole.saturating_sub(left));
    if everywhere.left_over.is_empty() || ways == 0 {
        return everywhere;
    }
    everywhere.parties = in_parties(errands, &places, evening);
    let saved = |round: &Round| -> f64 {
        let one = |errand: &Errand| {
            let paid = if errand.within_min.is_some() { 0.0 } else { errand.job.price_on(0) };
            errand.job.price_on(evening.next) - paid
        };
        round.stops.iter().filter_map(|stop| errands.get(stop.job)).map(one).sum()
    };
    let (short_min, parties) = (everywhere.short_min, everywhere.parties.clone());
    let to_some = |chosen: &[&SiteId]| {
        let (here, elsewhere): (Vec<usize>, Vec<usize>) = (0..errands.len())
            .partition(|at| errands.get(*at).is_some_and(|e| chosen.contains(&&e.job.place)));
        let own: Vec<Errand> = here.iter().filter_map(|at| errands.get(*at)).cloned().collect();
        let mut some = tried(&own, chosen).renamed(&here);
        some.left_over.extend(elsewhere);
        some.short_min = short_min;
        some.parties.clone_from(&parties);
        some
    };
    let is_better = |one: &Round, other: &Round| {
        let more = saved(one).total_cmp(&saved(other));
        more.then(one.stops.len().cmp(&other.stops.len())).is_gt()
    };
    let mut best = everywhere;
    if places.len() <= PLACES_TRIED {
        for choice in 1_u32..(1 << places.len()) {
            let chosen: Vec<&SiteId> = (0..)
                .zip(&places)
                .filter(|(bit, _)| choice >> bit & 1 == 1)
                .map(|(_, p)| *p)
                .collect();
            let some = to_some(&chosen);
            if is_better(&some, &best) {
                best = some;
            }
        }
        return best;
    }
    let mut chosen: Vec<&SiteId> = Vec::new();
    let mut so_far: Option<Round> = None;
    loop {
        let mut next: Option<(&SiteId, Round)> = None;
        for place in places.iter().filter(|place| !chosen.contains(place)) {
            let some = to_some(&[&chosen[..], &[*place]].concat());
            let known = next.as_ref().map(|(_, round)| round).or(so_far.as_ref());
            if known.is_none_or(|known| is_better(&some, known)) {
                next = Some((place, some));
            }
        }
        let Some((place, round)) = next else { break };
        chosen.push(place);
        so_far = Some(round);
    }
    so_far.filter(|round| is_better(round, &best)).unwrap_or(best)
}

/// Crew minutes of a round, with all its ways and the one back.
fn takes(round: &Round, errands: &[Errand], evening: &Evening<'_>) -> u32 {
    let work: u32 = round.stops.iter().map(|stop| stop.minutes).sum();
    let ways = round.stops.last().map_or(0, |last| {
        let back = errands.get(last.job).map_or(0, |errand| (evening.way)(&errand.job.place) / 2);
        last.ways_min.saturating_add(back)
    });
    work.saturating_add(ways.saturating_mul(evening.people))
}

/// Chooses and orders errands for `minutes_left` crew minutes. Those with an hour of their own go before all others.
fn round(errands: &[Errand], minutes_left: u32, evening: &Evening<'_>) -> Round {
    // What falls due later and has to begin today is weighed by what its own first night takes.
    let waits = |job: &Job| job.price_on(evening.next.max(job.due.map_or(0, |due| due + 1)));
    let at_night: Vec<Job> = errands
        .iter()
        .map(|Errand { job, .. }| Job { price: vec![job.price_on(0), waits(job)], ..job.clone() })
        .collect();
    let is_waiting = |at: &usize| errands.get(*at).is_some_and(|e| e.after_min > 0);
    let is_pressing =
        |at: &usize| !is_waiting(at) && errands.get(*at).is_some_and(|e| e.within_min.is_some());
    let minutes = |at: usize| errands.get(at).map_or(0, |errand| errand.job.minutes);
    let mut left = minutes_left;
    let mut left_over = Vec::new();
    // Those that cannot wait for the evening: what saves most a minute, as far as it fits.
    let mut dearest: Vec<usize> = (0..errands.len()).filter(|at| is_pressing(at)).collect();
    let dear = |at: usize| at_night.get(at).map_or(0.0, |job| job.price_on(1));
    let by_minute = |at: usize| dear(at) / f64::from(minutes(at).max(1));
    dearest.sort_by(|a, b| by_minute(*b).total_cmp(&by_minute(*a)));
    let mut pressing = Vec::new();
    for at in dearest {
        if minutes(at) <= left {
            left -= minutes(at);
            pressing.push(at);
        } else {
            left_over.push(at);
        }
    }
    let rest: Vec<usize> = (0..errands.len()).filter(|at| !is_pressing(at)).collect();
    let others: Vec<Job> = rest.iter().filter_map(|at| at_night.get(*at)).cloned().collect();
    let ranked = rank(&others, &[left], None);
    let mut later = Vec::new();
    for place in ranked.order {
        let Some(at) = rest.get(place).copied() else { continue };
        let fits = ranked.done_on.get(place).copied().flatten().is_some();
        if fits { &mut later } else { &mut left_over }.push(at);
    }
    let pressing = by_the_hour(errands, pressing, &dear);
    // What has to thaw first comes when all else is done.
    let (waiting, later): (Vec<usize>, Vec<usize>) = later.into_iter().partition(is_waiting);
    // Place by place, the pressing ones of each place first: nobody drives to and fro for one boat, unless another would
    // freeze meanwhile.
    let all_now = [&pressing[..], &later[..]].concat();
    // What has to thaw at the end of a place instead of a second way to it, the places without such first.
    let waits_at = |at: &usize| {
        let place = errands.get(*at).map(|errand| &errand.job.place);
        waiting.iter().any(|other| errands.get(*other).map(|errand| &errand.job.place) == place)
    };
    let (last, first): (Vec<usize>, Vec<usize>) = all_now.iter().copied().partition(waits_at);
    let once = [&first[..], &last[..], &waiting[..]].concat();
    let walks: [&[&[usize]]; 3] = [&[&all_now, &waiting], &[&once], &[&pressing, &later, &waiting]];
    let lost = |stops: &[Stop]| {
        stops.iter().filter(|stop| stop.late).map(|stop| dear(stop.job)).sum::<f64>()
    };
    let end = |stops: &[Stop]| {
        stops.last().map_or(0, |stop| stop.done_after_min + stop.ways_min * evening.people)
    };
    let mut stops: Option<Vec<Stop>> = None;
    for walk in walks {
        // By the hour, or where that makes nothing late, row by row.
        for hours in [&[][..], &pressing[..]] {
            let tried = walked(errands, walk, hours, evening);
            let is_better = stops.as_ref().is_none_or(|known| {
                let less = lost(&tried).total_cmp(&lost(known));
                less.then(end(&tried).cmp(&end(known))).is_lt()
            });
            if is_better {
                stops = Some(tried);
            }
        }
    }
    let stops = stops.unwrap_or_default();
    let all: u32 = errands.iter().map(|errand| errand.job.minutes).sum();
    Round { stops, left_over, short_min: all.saturating_sub(minutes_left), parties: None }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn errand(place: &str, location: &str, minutes: u32, lost_tonight: f64) -> Errand {
        let job = Job {
            boat: location.into(),
            place: place.into(),
            minutes,
            price: vec![0.0, lost_tonight, lost_tonight],
            due: Some(0),
            loss: lost_tonight,
        };
        Errand { job, within_min: None, after_min: 0, location: location.into() }
    }

    fn within(minutes: u32, errand: Errand) -> Errand {
        Errand { within_min: Some(minutes), ..errand }
    }

    fn evening(minutes: Option<u32>, errands: &[Errand]) -> (Vec<usize>, Round) {
        let found = best_round(
            errands,
            &Evening { minutes_left: minutes, next: 1, people: 1, way: &|_| 0 },
        );
        (found.stops.iter().map(|stop| stop.job).collect(), found)
    }

    #[test]
    fn what_fits_is_walked_row_by_row_and_the_cheapest_is_left_over() {
        let (walked, found) = evening(
            Some(60),
            &[
                errand("QUAY", "Row A-12", 20, 5000.0),
                errand("UPPER", "U-1", 20, 300.0),
                errand("QUAY", "Row A-4", 20, 3000.0),
                errand("UPPER", "U-2", 20, 4000.0),
            ],
        );
        assert_eq!(walked, [2, 0, 3]);
        assert_eq!((found.left_over.clone(), found.short_min), (vec![1], 20));
        assert_eq!(found.work_min(), 60);
    }

    #[test]
    fn what_freezes_while_the_crew_works_goes_before_what_freezes_at_night() {
        let (walked, found) = evening(
            Some(80),
            &[
                errand("UPPER", "1", 20, 9000.0),
                within(60, errand("QUAY", "2", 40, 0.0)),
                errand("DOCK", "3", 20, 8000.0),
                errand("QUAY", "4", 20, 100.0),
            ],
        );
        assert_eq!(walked, [1, 0, 2]);
        assert_eq!((found.left_over, found.short_min), (vec![3], 20));
    }

    #[test]
    fn by_the_hour_and_the_block_before_the_pump_when_only_one_can_be_saved() {
        let pump = || within(20, errand("QUAY", "1", 15, 200.0));
        let block = |minutes| within(minutes, errand("QUAY", "9", 20, 9000.0));
        // Both can be: the pump freezes first.
        let (walked, found) = evening(None, &[block(40), pump()]);
        assert_eq!(walked, [1, 0]);
        assert!(found.stops.iter().all(|stop| !stop.late));
        // Only one can be: the block, and the pump is known to be late.
        let (walked, found) = evening(None, &[pump(), block(25)]);
        assert_eq!(walked, [1, 0]);
        // With minutes to spare the late one goes first: its chance rises with every hour.
        let (first, _) =
            evening(None, &[pump(), block(35), within(5, errand("QUAY", "3", 10, 50.0))]);
        assert_eq!(first, [0, 1, 2]);
        let (spare, _) = evening(None, &[within(5, errand("QUAY", "1", 15, 200.0)), block(90)]);
        assert_eq!(spare, [0, 1]);
        assert_eq!(found.stops.iter().map(|stop| stop.late).collect::<Vec<_>>(), [false, true]);
    }

    #[test]
    fn a_boat_elsewhere_that_freezes_at_noon_is_not_left_for_a_row_that_can_wait() {
        let errands = [
            within(30, errand("QUAY", "1", 20, 500.0)),
            errand("QUAY", "2", 60, 800.0),
            within(60, errand("UPPER", "3", 20, 9000.0)),
        ];
        let (walked, _) = evening(None, &errands);
        assert_eq!(walked, [0, 2, 1]);
        let (walked, _) = evening(
            None,
            &[
                errands[0].clone(),
                errands[1].clone(),
                within(200, errand("UPPER", "3", 20, 9000.0)),
            ],
        );
        assert_eq!(walked, [0, 1, 2], "time enough: nobody drives to and fro");
    }

    #[test]
    fn two_near_places_are_gone_to_where_a_third_is_too_far() {
        let errands = [
            errand("DOCK", "", 5, 5000.0),
            errand("QUAY", "", 20, 3000.0),
            errand("UPPER", "", 5, 9000.0),
        ];
        let way = |place: &SiteId| if place.as_str() == "UPPER" { 90 } else { 12 };
        let evening = Evening { minutes_left: Some(70), next: 1, people: 1, way: &way };
        let found = best_round(&errands, &evening);
        let mut gone: Vec<usize> = found.stops.iter().map(|stop| stop.job).collect();
        gone.sort_unstable();
        assert_eq!((gone, found.left_over), (vec![0, 1], vec![2]));
    }

    #[test]
    fn a_short_evening_goes_to_the_place_that_can_be_reached() {
        let errands = [errand("QUAY", "", 20, 5000.0), errand("UPPER", "", 5, 9000.0)];
        let way = |place: &SiteId| if place.as_str() == "UPPER" { 60 } else { 0 };
        let on = |minutes_left| {
            best_round(&errands, &Evening { minutes_left, next: 1, people: 1, way: &way })
        };
        assert!(on(Some(0)).stops.is_empty());
        let found = on(Some(30));
        assert_eq!(found.stops.iter().map(|stop| stop.job).collect::<Vec<_>>(), [0]);
        assert_eq!((found.left_over, found.short_min), (vec![1], 55));
        let both = on(Some(90));
        assert_eq!((both.stops.len(), both.left_over.len()), (2, 0));
        let called = on(None);
        assert_eq!((called.stops.len(), called.short_min), (2, 0));
        let ways: Vec<u32> = called.stops.iter().map(|stop| stop.ways_min).collect();
        assert_eq!(ways, [30, 60], "there, and back before the next place");
    }

    #[test]
    fn one_way_does_for_the_place_that_thaws_last() {
        let mut errands = [
            errand("UPPER", "U-3", 20, 5000.0),
            errand("UPPER", "U-3", 5, 900.0),
            errand("QUAY", "B-1", 20, 5000.0),
        ];
        errands[1].after_min = 60;
        let way = |place: &SiteId| if place.as_str() == "UPPER" { 50 } else { 0 };
        let on = |minutes_left| {
            best_round(&errands, &Evening { minutes_left, next: 1, people: 1, way: &way })
        };
        let found = on(Some(100));
        let walked: Vec<usize> = found.stops.iter().map(|stop| stop.job).collect();
        assert_eq!((walked, found.left_over), (vec![2, 0, 1], vec![]));
    }

    #[test]
    fn two_parties_reach_what_all_together_do_not() {
        let errands = [
            errand("QUAY", "B-1", 60, 5000.0),
            errand("DOCK", "3", 20, 900.0),
            errand("UPPER", "U-7", 60, 5000.0),
        ];
        let way = |place: &SiteId| if place.as_str() == "UPPER" { 50 } else { 0 };
        let on = |minutes_left| {
            best_round(&errands, &Evening { minutes_left, next: 1, people: 2, way: &way })
        };
        let found = on(Some(220));
        assert!(!found.left_over.is_empty(), "together the way is gone twice");
        let (one, other) = found.parties.unwrap();
        assert!(one.contains(&"UPPER".into()) != other.contains(&"UPPER".into()));
        assert_eq!(on(Some(100)).parties, None);
    }

    #[test]
    fn at_the_thaw_one_goes_by_the_hour() {
        let mut errands = [errand("QUAY", "B-1", 5, 100.0), errand("UPPER", "U-3", 5, 100.0)];
        errands[0].after_min = 500;
        errands[1].after_min = 150;
        let evening = Evening { minutes_left: Some(10), next: 1, people: 1, way: &|_| 0 };
        let stops = at_the_thaw(&errands, &evening);
        let found: Vec<_> = stops.iter().map(|stop| (stop.job, stop.done_after_min)).collect();
        assert_eq!(found, [(1, 155), (0, 505)]);
        assert!(stops.iter().all(|stop| stop.after_hours));
    }
}
