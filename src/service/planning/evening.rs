//! Tonight's round: which boats cannot wait for the next working day, or whose drains must begin today because there are
//! too many of them, what of that fits, by when, and what to carry.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::Row;
use super::rows::hold_back;
use crate::domain::boat::SiteId;
use crate::domain::risk::plan::Job;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::latest_starts;
use crate::domain::risk::plan::order::rank;
use crate::domain::risk::plan::second::{Scarce, put_off};
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
    (rows, scarce): (&mut [Row], &[Scarce]),
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
    mark_urgent(rows, capacity, next, scarce);
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
    // What is harmed before anybody is at work is gone to at once, by somebody who is called in.
    let opens = days.first().map(|day| day.opens).filter(|_| hands == Hands::OnRoster);
    let is_early = |place: &usize| {
        let row = rows.get(*place);
        let harm = row.and_then(|row| row.work.harm_in_h(row.urgent?));
        let harm = harm.map(|hours| at + TimeDelta::hours(i64::from(hours)));
        harm.zip(opens).is_some_and(|(harm, opens)| at < opens && harm < opens)
    };
    let (early, due): (Vec<usize>, Vec<usize>) = due.into_iter().partition(is_early);
    let errands = |which: &[usize], begins, until| -> Vec<Errand> {
        let rows = which.iter().filter_map(|row| rows.get(*row));
        rows.filter_map(|row| errand(row, at, begins, until)).collect()
    };
    let way =
        |id: &SiteId| seen.places.get(id).map_or(0, |place| whole(2.0 * place.site.travel_minutes));
    let minutes_left = (hands == Hands::OnRoster).then_some(today);
    let called = Evening { minutes_left: None, next, people: 1, way: &way };
    let first = best_round(&errands(&early, (at, 1), opens), &called).renamed(&early);
    let found = best_round(
        &errands(&due, begins, until),
        &Evening { minutes_left, people: begins.1, ..called },
    );
    let found = found.renamed(&due).after(first);
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
        let by_crew = found.stops.iter().filter(|stop| !stop.early);
        let mut places: Vec<SiteId> =
            by_crew.filter_map(|stop| Some(rows.get(stop.job)?.place())).collect();
        places.sort();
        places.dedup();
        tonight.takes_min =
            found.work_min() + places.iter().map(way).sum::<u32>().saturating_mul(begins.1);
        // What is left of a day that is too short for the drains is no time for complete lay-ups.
        if !found.left_over.is_empty() {
            tonight.takes_min = tonight.takes_min.max(today);
        }
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
fn mark_urgent(rows: &mut [Row], capacity: &[u32], next: usize, scarce: &[Scarce]) {
    let soon = Scope::Emergency(next.saturating_sub(1));
    for row in rows.iter_mut() {
        row.urgent = (row.work.minutes(soon) > 0).then_some(soon);
    }
    let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
    // Where nobody ever works there is no order of days to keep.
    if capacity.iter().all(|minutes| *minutes == 0) {
        return;
    }
    let mut ends = rank(&jobs, capacity, None).done_on;
    hold_back(rows, &mut ends, capacity);
    // Why is said of the final list.
    let _ = put_off(&jobs, &mut ends, scarce);
    let late: Vec<(usize, Scope, usize)> = rows
        .iter()
        .zip(&ends)
        .enumerate()
        .filter_map(|(place, (row, end))| {
            let due = row.due?;
            let in_time = row.minutes > 0 && end.is_some_and(|end| end <= due);
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
    let job = row.work.job(scope, row.work.minutes(scope), false);
    Some(Errand {
        job: Job { place: row.place(), ..job },
        within_min: within,
        location: row.location().to_owned(),
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
