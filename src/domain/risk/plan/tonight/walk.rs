//! The walk of a round: by the hour where something freezes meanwhile, else place by place and row by row; and what is drained
//! when it thaws.

use super::errand::{Errand, Evening, PLACES_TRIED, Stop};
use crate::domain::boat::SiteId;

/// Stops at the hour of the thaw, whatever the day's hours: who stays or comes back goes from one to the next.
#[must_use]
pub fn at_the_thaw(errands: &[Errand], evening: &Evening<'_>) -> Vec<Stop> {
    let mut order: Vec<usize> = (0..errands.len()).collect();
    order.sort_by_cached_key(|at| {
        errands.get(*at).map(|e| (e.after_min, e.job.place.clone(), walking_key(&e.location)))
    });
    let mut stops: Vec<Stop> = Vec::new();
    for at in order {
        let walk = walked(errands, &[&[at]], &[], evening);
        for mut stop in walk {
            let before = stops.last().map_or(0, |known: &Stop| {
                known.done_after_min + known.ways_min.saturating_mul(evening.people)
            });
            let there = stop.ways_min.saturating_mul(evening.people);
            let begin = (stop.done_after_min - stop.minutes + there).max(before);
            stop.done_after_min = begin.saturating_sub(there) + stop.minutes;
            stop.after_hours = true;
            stops.push(stop);
        }
    }
    stops
}

/// By the hour at which each must be done; where not all can be in time, the cheapest an hour come last (after Moore 1968,
/// by price).
pub(super) fn by_the_hour(
    errands: &[Errand],
    mut pressing: Vec<usize>,
    dear: &dyn Fn(usize) -> f64,
) -> Vec<usize> {
    let within = |at: usize| errands.get(at).and_then(|e| e.within_min).unwrap_or(u32::MAX);
    let minutes = |at: usize| errands.get(at).map_or(1, |errand| errand.job.minutes.max(1));
    pressing.sort_by(|a, b| {
        within(*a).cmp(&within(*b)).then(dear(*b).total_cmp(&dear(*a))).then(a.cmp(b))
    });
    let by_hour = |at: usize| dear(at) / f64::from(minutes(at));
    let (mut in_time, mut late): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
    let mut end = 0;
    for at in pressing {
        in_time.push(at);
        end += minutes(at);
        if end <= within(at) {
            continue;
        }
        let cheapest =
            in_time.iter().enumerate().min_by(|a, b| by_hour(*a.1).total_cmp(&by_hour(*b.1)));
        if let Some(place) = cheapest.map(|(place, _)| place) {
            let dropped = in_time.remove(place);
            end -= minutes(dropped);
            late.push(dropped);
        }
    }
    late.sort_by(|a, b| by_hour(*b).total_cmp(&by_hour(*a)));
    // A chance that goes on rising is no train that has left: each as early as none becomes late by it.
    let mut order = in_time.clone();
    for at in late {
        let fits = |place: &usize| {
            let mut tried = order.clone();
            tried.insert(*place, at);
            let mut end = 0;
            tried.iter().all(|one| {
                end += minutes(*one);
                end <= within(*one) || !in_time.contains(one)
            })
        };
        let place = (0..=order.len()).find(fits).unwrap_or(order.len());
        order.insert(place, at);
    }
    order
}

/// The stops of one walk after the other, each place by place.
pub(super) fn walked(
    errands: &[Errand],
    walks: &[&[usize]],
    pressing: &[usize],
    evening: &Evening<'_>,
) -> Vec<Stop> {
    let place_of = |at: usize| errands.get(at).map_or("", |errand| errand.job.place.as_str());
    let mut stops: Vec<Stop> = Vec::new();
    let (mut done_after_min, mut ways_min) = (0_u32, 0_u32);
    let mut here: Option<(&str, u32)> = None;
    for walk in walks {
        let mut places: Vec<&str> = Vec::new();
        for at in *walk {
            if !places.contains(&place_of(*at)) {
                places.push(place_of(*at));
            }
        }
        let mut order = walk.to_vec();
        order.sort_by_cached_key(|at| {
            let place = places.iter().position(|place| *place == place_of(*at));
            let hour = pressing.iter().position(|other| other == at).unwrap_or(usize::MAX);
            let location = errands.get(*at).map_or("", |errand| errand.location.as_str());
            (place, hour, walking_key(location), *at)
        });
        for at in order {
            let Some(errand) = errands.get(at) else { continue };
            let place = errand.job.place.as_str();
            if here.is_none_or(|(known, _)| known != place) {
                // Half a way out; the way back from the place before comes on top.
                let way = (evening.way)(&errand.job.place) / 2;
                ways_min += here.map_or(0, |(_, back)| back) + way;
                here = Some((place, way));
            }
            let there = ways_min.saturating_mul(evening.people);
            done_after_min =
                done_after_min.max(errand.after_min.saturating_sub(there)) + errand.job.minutes;
            let late = errand.within_min.is_some_and(|within| {
                done_after_min + ways_min.saturating_mul(evening.people) > within
            });
            let minutes = errand.job.minutes;
            stops.push(Stop {
                job: at,
                done_after_min,
                ways_min,
                late,
                minutes,
                early: false,
                after_hours: false,
            });
        }
    }
    stops
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

/// Two parties of the crew that together reach all places in the time there is, each with its share of the people.
pub(super) fn in_parties(
    errands: &[Errand],
    places: &[&SiteId],
    evening: &Evening<'_>,
) -> Option<(Vec<SiteId>, Vec<SiteId>)> {
    let left = evening.minutes_left.filter(|_| (2..=PLACES_TRIED).contains(&places.len()))?;
    let fits = |chosen: &[&SiteId], people: u32| {
        let own = errands.iter().filter(|errand| chosen.contains(&&errand.job.place));
        let work: u32 = own.map(|errand| errand.job.minutes).sum();
        let ways: u32 = chosen.iter().map(|place| (evening.way)(place)).sum();
        work.saturating_add(ways.saturating_mul(people)) <= left / evening.people * people
    };
    for people in 1..evening.people {
        for choice in 1_u32..(1 << places.len()) - 1 {
            let of = |party: u32| -> Vec<&SiteId> {
                let all = (0..).zip(places.iter().copied());
                all.filter(|(bit, _)| choice >> bit & 1 == party).map(|(_, place)| place).collect()
            };
            let (one, other) = (of(1), of(0));
            if fits(&one, people) && fits(&other, evening.people - people) {
                let own = |of: Vec<&SiteId>| of.into_iter().cloned().collect();
                return Some((own(one), own(other)));
            }
        }
    }
    None
}
