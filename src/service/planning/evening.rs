//! Tonight's round: which boats cannot wait for the next working day, or whose drains must begin today because there are
//! too many of them, what of that fits, by when, and what to carry.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::Row;
use crate::domain::boat::SiteId;
use crate::domain::risk::plan::Job;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::latest_starts;
use crate::domain::risk::plan::order::rank;
use crate::domain::risk::plan::tonight::{Errand, Evening, Round, best_round};
use crate::service::house::House;
use crate::service::survey::Survey;
use crate::settings::crew::Objective;

/// Whose hours the evening's round takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hands {
    /// The crew's, of today.
    OnRoster,
    /// It is a working day, but its hours are over.
    DayOver,
    /// Nobody works today.
    Nobody,
}

/// The round and what goes with it.
pub(super) struct Tonight {
    pub round: Option<Round>,
    pub hands: Hands,
    /// When it begins, and how many work on it.
    pub begins: (DateTime<Utc>, u32),
    /// Minutes of the crew's day that it takes, ways included.
    pub takes_min: u32,
    /// Litres by product.
    pub cart: BTreeMap<String, f64>,
}

/// Chooses the round and marks its rows; their work is seen as drained from then on.
pub(super) fn evening(
    house: &House,
    seen: &Survey,
    crew: &Crew,
    (days, capacity): (&[WorkDay], &[u32]),
    (rows, short_min): (&mut [Row], u32),
) -> Tonight {
    let at = seen.instant.at;
    let today = capacity.first().copied().unwrap_or(0);
    let hands = match days.first() {
        _ if today > 0 => Hands::OnRoster,
        Some(day) if crew.works_on(day.date) && at >= day.evening => Hands::DayOver,
        _ => Hands::Nobody,
    };
    let begins = begins(at, days, hands, today);
    let next = next_working_day(capacity);
    mark_urgent(rows, capacity, next, short_min);
    let due: Vec<usize> = (0..rows.len())
        .filter(|row| rows.get(*row).is_some_and(|row| row.urgent.is_some()))
        .collect();
    let mut tonight = Tonight { round: None, hands, begins, takes_min: 0, cart: BTreeMap::new() };
    if due.is_empty() {
        return tonight;
    }
    // Until then nobody else is there: what freezes before goes by the hour.
    let until = match hands {
        Hands::OnRoster => days.first().map(|day| day.evening),
        _ => days.get(next).map(|day| day.opens),
    };
    let errands: Vec<Errand> = due
        .iter()
        .filter_map(|row| rows.get(*row))
        .filter_map(|row| errand(row, at, begins, until))
        .collect();
    let way =
        |id: &SiteId| seen.places.get(id).map_or(0, |place| whole(2.0 * place.site.travel_minutes));
    let minutes_left = (hands == Hands::OnRoster).then_some(today);
    let found = best_round(&errands, &Evening { minutes_left, next, people: begins.1, way: &way });
    let found = found.renamed(&due);
    let equal = house.settings.crew.objective == Objective::FewestBoats;
    for stop in &found.stops {
        let Some(row) = rows.get_mut(stop.job) else { continue };
        row.in_round = true;
        row.set_job(equal);
        let Some(scope) = row.urgent else { continue };
        for group in row.work.within(scope).filter(|group| group.dose_l > 0.0) {
            if let Some((product, _)) = &group.product {
                *tonight.cart.entry(product.clone()).or_default() += group.dose_l;
            }
        }
    }
    if hands == Hands::OnRoster {
        let mut places: Vec<&SiteId> =
            found.stops.iter().filter_map(|stop| Some(&rows.get(stop.job)?.work.place)).collect();
        places.sort();
        places.dedup();
        tonight.takes_min =
            found.work_min() + places.into_iter().map(way).sum::<u32>().saturating_mul(begins.1);
    }
    tonight.round = Some(found);
    tonight
}

/// From when on, and by how many people at once.
fn begins(at: DateTime<Utc>, days: &[WorkDay], hands: Hands, today: u32) -> (DateTime<Utc>, u32) {
    let Some(day) = days.first().filter(|_| hands == Hands::OnRoster) else { return (at, 1) };
    let begins = at.max(day.opens);
    let lasts = u32::try_from((day.evening - begins).num_minutes().max(1)).unwrap_or(u32::MAX);
    (begins, ((today + lasts / 2) / lasts).max(1))
}

/// Marks what falls due before the next working day's evening; and where complete lay-ups come too late, the emergency
/// drains that must begin before the next working day so that all of them are done in time.
fn mark_urgent(rows: &mut [Row], capacity: &[u32], next: usize, short_min: u32) {
    let soon = Scope::Emergency(next.saturating_sub(1));
    for row in rows.iter_mut() {
        row.urgent = (row.work.minutes(soon) > 0).then_some(soon);
    }
    let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
    // Where nobody ever works there is no order of days to keep.
    if capacity.iter().all(|minutes| *minutes == 0) || short_min == 0 {
        return;
    }
    let ends = rank(&jobs, capacity, None).done_on;
    let late: Vec<(usize, Scope, usize)> = rows
        .iter()
        .zip(&ends)
        .enumerate()
        .filter_map(|(place, (row, end))| {
            let due = row.due?;
            let in_time = end.is_some_and(|end| end <= due);
            (!in_time || row.urgent.is_some()).then_some((place, Scope::Emergency(due), due))
        })
        .collect();
    let work: Vec<(u32, usize)> = late
        .iter()
        .filter_map(|(place, scope, due)| Some((rows.get(*place)?.work.minutes(*scope), *due)))
        .collect();
    for ((place, scope, _), start) in late.iter().zip(latest_starts(&work, capacity)) {
        let Some(row) = rows.get_mut(*place) else { continue };
        if row.urgent.is_some() || row.work.minutes(*scope) == 0 {
            continue;
        }
        let start = start.unwrap_or(0);
        row.drain_by = Some((start, *scope));
        if start < next {
            row.urgent = Some(*scope);
        }
    }
}

fn errand(
    row: &Row,
    at: DateTime<Utc>,
    (begins, people): (DateTime<Utc>, u32),
    until: Option<DateTime<Utc>>,
) -> Option<Errand> {
    let scope = row.urgent?;
    let over = row.work.over_in_h(scope).map(|hours| at + TimeDelta::hours(i64::from(hours)));
    let within = over.filter(|over| until.is_none_or(|until| *over < until)).map(|over| {
        u32::try_from((over - begins).num_minutes().max(0))
            .unwrap_or(u32::MAX)
            .saturating_mul(people)
    });
    Some(Errand {
        job: row.work.job(scope, row.work.minutes(scope), false),
        within_min: within,
        location: row.boat.location.clone(),
    })
}

/// The next day after today on which somebody works; tomorrow where nobody ever does.
fn next_working_day(capacity: &[u32]) -> usize {
    capacity.iter().skip(1).position(|minutes| *minutes > 0).map_or(1, |place| place + 1)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "minutes of a day, clamped"
)]
fn whole(minutes: f64) -> u32 {
    minutes.clamp(0.0, 1e6) as u32
}
