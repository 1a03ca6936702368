//! The crew plan of a yard: from a look over it to jobs, from the configuration to a crew, and through the optimiser.
//! Reads only.

mod hands;
mod look;
mod spring;

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::house::{House, ServiceError};
use super::survey::{BoatView, Instant, Survey, survey, whole_hour};
use crate::domain::boat::{Boat, BoatId, Care, SiteId};
use crate::domain::risk::plan::boat::{BoatWork, Scope};
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::{MustStart, fewest_late, latest_starts, must_start};
use crate::domain::risk::plan::order::{Ranked, cost_of_waiting, rank};
use crate::domain::risk::plan::second::put_off;
use crate::domain::risk::plan::tail::{DamageDays, Tail, tail};
use crate::domain::risk::plan::tonight::{Round, best_round};
use crate::domain::risk::plan::words::{Facts, headline};
use crate::domain::risk::plan::{INDEX_DAYS, Job};
use crate::settings::crew::Objective;
use hands::{crew, scarce};
use look::look;
pub use spring::FillFrom;
use spring::fill_from;

/// Days of which it is shown what waiting costs.
const WAITING_DAYS: usize = 7;
/// With more boats than this the curve of waiting is left out: each of its points is a whole plan.
const WAITING_BOATS_MAX: usize = 600;
/// Chances of so many damaged boats are shown.
const AT_LEAST: [usize; 3] = [1, 5, 20];
/// Days whose product is ordered at once.
const WEEK: usize = 7;

/// What-if: how the plan differs from what the configuration and the forecast say.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WhatIf {
    /// Crew hours of a working day in all.
    pub crew_hours: Option<f64>,
    /// Technicians who are away, by id or name.
    pub without: Vec<String>,
    /// Kelvins colder than forecast.
    pub colder_k: f64,
    /// Tolerance for severe damage instead of the configured one.
    pub tolerance: Option<f64>,
}

/// A boat of the plan.
#[derive(Debug, Clone)]
pub struct Row {
    /// As listed.
    pub boat: Boat,
    /// Its open work.
    pub work: BoatWork,
    /// Hands-on minutes of the complete lay-up.
    pub minutes: u32,
    /// The same with the way there.
    pub crew_minutes: u32,
    /// As the optimiser sees it.
    pub job: Job,
    /// Day by which it ends by the plan.
    pub done_on: Option<usize>,
    /// Last day on which to begin when all that is due earlier goes first.
    pub latest_start: Option<usize>,
    /// What an hour on it saves within the next days.
    pub saves_per_hour: f64,
    /// Put off for want of this.
    pub put_off_for: Option<String>,
    /// Skills that it asks for and that nobody of the crew has.
    pub nobody_may: Vec<String>,
}

/// The plan.
#[derive(Debug)]
pub struct YardPlan {
    /// The instant.
    pub at: DateTime<Utc>,
    /// Calendar from today on.
    pub days: Vec<WorkDay>,
    /// The crew that it was made for.
    pub crew: Crew,
    /// The forecast reaches so far; `None` without one.
    pub forecast_until: Option<DateTime<Utc>>,
    /// How many places are carried on beyond the forecast without past seasons of their own.
    pub without_past: usize,
    /// In spring: from when on water may be filled in again.
    pub fill_from: Vec<FillFrom>,
    /// Boats with work for the crew, first to do first.
    pub rows: Vec<Row>,
    /// Boats that their owners lay up: not in the crew's hours.
    pub owners: Vec<Row>,
    /// Boats with nothing open.
    pub done: Vec<BoatId>,
    /// Boats with circuits past their limit already, and which.
    pub frozen: Vec<(BoatId, Vec<String>)>,
    /// Places without a usable forecast and how many boats stand there.
    pub cannot_say: Vec<(SiteId, usize)>,
    /// Boats on the list in all.
    pub boats: usize,
    /// The check of due days.
    pub must: MustStart,
    /// The list with its bound; indices are those of [`YardPlan::rows`] before ranking and of no use here.
    pub ranked: Ranked,
    /// Expected loss of the list after second capacities.
    pub loss: f64,
    /// Boats that cannot be laid up completely in time, at the least.
    pub late: usize,
    /// What the best list would lose if nothing were done before each of the next days.
    pub waiting: Vec<f64>,
    /// Damaged boats, by the plan and with nothing done.
    pub tail: (Tail, Tail),
    /// Emergency drains of this evening: indices of [`YardPlan::rows`].
    pub tonight: Option<Round>,
    /// What is due before the next working day's evening is drained tonight: the last such day.
    pub urgent: Scope,
    /// Nobody works today, so that somebody has to be called in.
    pub call_in: bool,
    /// Litres to have on the cart tonight, by product.
    pub cart: BTreeMap<String, f64>,
    /// Litres to order for the week's lay-ups, by product.
    pub order: BTreeMap<String, f64>,
    /// The head of the worklist.
    pub headline: String,
}

/// The plan at an instant; yesterday's is made first, so that the list does not change for little.
///
/// # Errors
/// The store's, a hole in the tables, or an unknown technician.
pub fn plan_at(
    house: &House,
    instant: Instant,
    what_if: &WhatIf,
) -> Result<YardPlan, ServiceError> {
    let day = TimeDelta::days(1);
    let before = Instant { at: instant.at - day, known_at: instant.known_at - day };
    let seen = survey(house, before, |_| true)?;
    let yesterday = plan(house, &seen, what_if, None)?;
    let order: Vec<BoatId> = yesterday.rows.iter().map(|row| row.boat.id.clone()).collect();
    let seen = survey(house, instant, |_| true)?;
    plan(house, &seen, what_if, Some(&order))
}

/// The plan for a look over the yard; `before` is yesterday's list, where there is one.
///
/// # Errors
/// A hole in the tables, or an unknown technician.
pub fn plan(
    house: &House,
    seen: &Survey,
    what_if: &WhatIf,
    before: Option<&[BoatId]>,
) -> Result<YardPlan, ServiceError> {
    let settings = &house.settings.crew;
    let at = whole_hour(seen.instant.at);
    let crew = crew(house, seen, what_if)?;
    let days = crew.days(seen.instant.at, settings.days);
    let capacity: Vec<u32> = days.iter().map(|day| day.minutes).collect();
    let next = next_working_day(&capacity);
    let looked = look(house, seen, what_if, &days)?;
    let Sorted { mut rows, owners, done, frozen } = sorted(house, seen, &crew, looked.boats);
    let must = check(&rows, &capacity);
    let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
    let before: Option<Vec<usize>> = before.map(|ids| {
        ids.iter().filter_map(|id| jobs.iter().position(|job| job.boat == *id)).collect()
    });
    let ranked = rank(&jobs, &capacity, before.as_deref());
    let waiting = if jobs.len() <= WAITING_BOATS_MAX {
        cost_of_waiting(&jobs, &capacity, WAITING_DAYS)
    } else {
        Vec::new()
    };
    let late = late(&jobs, &capacity);
    let mut done_on = ranked.done_on.clone();
    let moved = put_off(&jobs, &mut done_on, &scarce(house, &rows, &crew, &days));
    let loss = jobs
        .iter()
        .zip(&done_on)
        .map(|(job, day)| day.map_or(job.price_undone(), |day| job.price_on(day)))
        .sum();
    finish_rows(&mut rows, &done_on, &moved, &capacity);
    let mut plan = YardPlan {
        at,
        tail: tails(&rows),
        boats: seen.boats.len(),
        rows: in_order(rows, &ranked.order),
        days,
        crew,
        forecast_until: looked.forecast_until,
        without_past: looked.without_past,
        fill_from: fill_from(
            house,
            seen,
            at.with_timezone(&house.settings.yard.time_zone).date_naive(),
        )?,
        owners,
        done,
        frozen,
        cannot_say: looked.cannot_say,
        must,
        ranked,
        loss,
        late,
        waiting,
        tonight: None,
        urgent: Scope::Emergency(next.saturating_sub(1)),
        call_in: false,
        cart: BTreeMap::new(),
        order: BTreeMap::new(),
        headline: String::new(),
    };
    plan.evening(seen, next);
    plan.headline = plan.headline();
    Ok(plan)
}

/// The one sentence for the head of the worklist, or what keeps it from being said.
///
/// # Errors
/// As [`plan`].
pub fn headline_of(house: &House, seen: &Survey) -> Result<String, ServiceError> {
    let what_if = WhatIf::default();
    let crew = crew(house, seen, &what_if)?;
    let days = crew.days(seen.instant.at, house.settings.crew.days);
    let capacity: Vec<u32> = days.iter().map(|day| day.minutes).collect();
    let looked = look(house, seen, &what_if, &days)?;
    let unseen = looked.unseen();
    let Sorted { rows, frozen, .. } = sorted(house, seen, &crew, looked.boats);
    let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
    Ok(headline(&Facts {
        days: &days,
        must: &check(&rows, &capacity),
        boats: seen.boats.len(),
        open: rows.len(),
        open_minutes: rows.iter().map(|row| row.crew_minutes).sum(),
        late: late(&jobs, &capacity),
        passed: frozen.len(),
        unseen,
    }))
}

/// Boats by who works on them, and whether anything is open.
struct Sorted {
    rows: Vec<Row>,
    owners: Vec<Row>,
    done: Vec<BoatId>,
    frozen: Vec<(BoatId, Vec<String>)>,
}

fn sorted(house: &House, seen: &Survey, crew: &Crew, boats: Vec<(&BoatView, BoatWork)>) -> Sorted {
    let mut found =
        Sorted { rows: Vec::new(), owners: Vec::new(), done: Vec::new(), frozen: Vec::new() };
    for (view, work) in boats {
        let passed = !work.frozen.is_empty();
        if passed {
            found.frozen.push((view.boat.id.clone(), work.frozen.clone()));
        }
        if work.is_done() {
            // What has frozen is no crew work that can be planned, and least of all done.
            if !passed {
                found.done.push(view.boat.id.clone());
            }
            continue;
        }
        let travel = seen.places.get(&work.place).map_or(0.0, |place| place.site.travel_minutes);
        let row = row(house, view, work, crew, travel);
        let whose = if row.boat.care == Care::Owner { &mut found.owners } else { &mut found.rows };
        whose.push(row);
    }
    found
}

fn check(rows: &[Row], capacity: &[u32]) -> MustStart {
    let work: Vec<(u32, usize)> =
        rows.iter().filter_map(|row| Some((row.crew_minutes, row.job.due?))).collect();
    must_start(&work, capacity)
}

impl YardPlan {
    /// Date of a day by its number.
    #[must_use]
    pub fn date(&self, day: usize) -> Option<NaiveDate> {
        self.days.get(day).map(|day| day.date)
    }

    fn headline(&self) -> String {
        headline(&Facts {
            days: &self.days,
            must: &self.must,
            boats: self.boats,
            open: self.rows.len(),
            open_minutes: self.rows.iter().map(|row| row.crew_minutes).sum(),
            late: self.late,
            passed: self.frozen.len(),
            unseen: self.cannot_say.iter().map(|(_, boats)| boats).sum(),
        })
    }

    /// The evening round, and what to carry and to order.
    fn evening(&mut self, seen: &Survey, next: usize) {
        let scope = self.urgent;
        let due: Vec<usize> = (0..self.rows.len())
            .filter(|row| self.rows.get(*row).is_some_and(|row| row.work.minutes(scope) > 0))
            .collect();
        for row in self.rows.iter().filter(|row| row.done_on.is_some_and(|day| day < WEEK)) {
            for (product, litres) in row.work.groups.iter().filter_map(|g| g.product.as_ref()) {
                *self.order.entry(product.clone()).or_default() += litres;
            }
        }
        if due.is_empty() {
            return;
        }
        let jobs: Vec<Job> = due
            .iter()
            .filter_map(|row| self.rows.get(*row))
            .map(|row| row.work.job(scope, row.work.minutes(scope), false))
            .collect();
        let before_evening: Vec<bool> = due
            .iter()
            .map(|row| self.rows.get(*row).is_some_and(|row| row.work.over_already()))
            .collect();
        let way = |id: &SiteId| {
            seen.places.get(id).map_or(0, |place| whole(2.0 * place.site.travel_minutes))
        };
        let today = self.days.first().map_or(0, |day| day.minutes);
        self.call_in = today == 0;
        let left = if self.call_in { None } else { Some(today) };
        let location = |job: usize| {
            let row = due.get(job).and_then(|row| self.rows.get(*row));
            row.map_or_else(String::new, |row| row.boat.location.clone())
        };
        let mut found = best_round(&jobs, &before_evening, left, next, &way, &location);
        let back = |job: usize| due.get(job).copied().unwrap_or(usize::MAX);
        for stop in &mut found.stops {
            stop.job = back(stop.job);
        }
        for job in &mut found.left_over {
            *job = back(*job);
        }
        for row in found.stops.iter().filter_map(|stop| self.rows.get(stop.job)) {
            for group in row.work.within(scope) {
                if let Some((product, _)) = group.product.as_ref().filter(|_| group.dose_l > 0.0) {
                    *self.cart.entry(product.clone()).or_default() += group.dose_l;
                }
            }
        }
        self.tonight = Some(found);
    }
}

/// The next day after today on which somebody works; tomorrow where nobody ever does.
fn next_working_day(capacity: &[u32]) -> usize {
    capacity.iter().skip(1).position(|minutes| *minutes > 0).map_or(1, |place| place + 1)
}

fn row(house: &House, view: &BoatView, work: BoatWork, crew: &Crew, travel: f64) -> Row {
    let minutes = work.minutes(Scope::Complete);
    let crew_minutes = crew.with_travel(minutes, travel);
    let equal = house.settings.crew.objective == Objective::FewestBoats;
    let job = work.job(Scope::Complete, crew_minutes, equal);
    let needed = &house.settings.crew.skills_needed;
    let mut nobody_may: Vec<String> = work
        .groups
        .iter()
        .filter_map(|group| needed.get(&group.group))
        .filter(|skill| crew.able(skill) == 0)
        .cloned()
        .collect();
    nobody_may.dedup();
    Row {
        boat: view.boat.clone(),
        saves_per_hour: job.saves_per_hour(INDEX_DAYS - 1),
        work,
        minutes,
        crew_minutes,
        job,
        done_on: None,
        latest_start: None,
        put_off_for: None,
        nobody_may,
    }
}

fn finish_rows(
    rows: &mut [Row],
    done_on: &[Option<usize>],
    moved: &[(usize, String)],
    capacity: &[u32],
) {
    let dated: Vec<(u32, usize)> = rows
        .iter()
        .map(|row| (row.crew_minutes, row.job.due.unwrap_or(capacity.len().saturating_sub(1))))
        .collect();
    let starts = latest_starts(&dated, capacity);
    for ((place, row), (day, start)) in rows.iter_mut().enumerate().zip(done_on.iter().zip(starts))
    {
        row.done_on = *day;
        row.latest_start = start.filter(|_| row.job.due.is_some());
        row.put_off_for = moved.iter().find(|(job, _)| *job == place).map(|(_, what)| what.clone());
    }
}

/// In the order of the list; what was put off stands with its new day.
fn in_order(rows: Vec<Row>, order: &[usize]) -> Vec<Row> {
    let mut slots: Vec<Option<Row>> = rows.into_iter().map(Some).collect();
    let mut listed: Vec<Row> =
        order.iter().filter_map(|place| slots.get_mut(*place).and_then(Option::take)).collect();
    listed.sort_by_key(|row| row.done_on.unwrap_or(usize::MAX));
    listed
}

fn tails(rows: &[Row]) -> (Tail, Tail) {
    let damage: Vec<DamageDays> = rows.iter().map(|row| row.work.damage()).collect();
    let with: Vec<_> = damage.iter().zip(rows).map(|(days, row)| (days, row.done_on)).collect();
    let without: Vec<_> = damage.iter().map(|days| (days, None)).collect();
    (tail(&with, &AT_LEAST), tail(&without, &AT_LEAST))
}

/// Boats that cannot be laid up completely by their due day, at the least (Moore 1968 on one pooled crew).
fn late(jobs: &[Job], capacity: &[u32]) -> usize {
    let by = |day: usize| capacity.iter().take(day + 1).map(|m| u64::from(*m)).sum::<u64>();
    let work: Vec<(u64, u64)> =
        jobs.iter().filter_map(|job| Some((u64::from(job.minutes), by(job.due?)))).collect();
    fewest_late(&work).len()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "minutes of a day, clamped"
)]
fn whole(minutes: f64) -> u32 {
    minutes.clamp(0.0, 1e6) as u32
}
