//! The crew plan of a yard: from a look over it to jobs, from the configuration to a crew, and through the optimiser.
//! Reads only.

mod evening;
mod hands;
pub mod lines;
mod look;
mod rows;
mod spring;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::house::{House, ServiceError};
use super::survey::{Instant, Survey, survey, whole_hour};
use crate::domain::boat::{Boat, BoatId, SiteId};
use crate::domain::risk::plan::Job;
use crate::domain::risk::plan::boat::{BoatWork, Scope};
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::{MustStart, fewest_late, must_start, needed_a_day};
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::order::{Ranked, cost_of_waiting, rank};
use crate::domain::risk::plan::schedule::{Room, Scarce, better_of};
use crate::domain::risk::plan::tail::{DamageDays, NEVER, Tail, tail};
use crate::domain::risk::plan::tonight::{Round, Stop};
use crate::domain::risk::plan::words::{Facts, headline};
use crate::domain::weather::credit;
pub use evening::Hands;
use evening::{CALLED, Tonight, ask_for_drains, evening, mark_urgent};
use hands::{crew, scarce};
use look::look;
pub use rows::{Frozen, Outside};
use rows::{Sorted, finish_owners, finish_rows, in_order, sorted};
pub use spring::FillFrom;
use spring::fill_from;

/// Days of which it is shown what waiting costs.
const WAITING_DAYS: usize = 7;
/// With more boats than this the curve of waiting is left out: each of its points is a whole plan.
const WAITING_BOATS_MAX: usize = 600;
/// Chances of so many damaged boats are shown.
const AT_LEAST: [usize; 3] = [1, 5, 20];
/// How often the round and the list are settled against each other, at most.
const PASSES_MOST: usize = 3;
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

/// A boat, and a visit to it by the groups that are worked on.
pub type Visit = (BoatId, String);

/// A boat of the plan.
#[derive(Debug, Clone)]
pub struct Row {
    /// As listed.
    pub boat: Boat,
    /// Which visit to it: 0 for what can be worked on now, else for what thaws later.
    pub visit: usize,
    /// It is still in the water, and does not stand where it will.
    pub elsewhere: bool,
    /// Its open work.
    pub work: BoatWork,
    /// Hands-on minutes of the complete lay-up.
    pub minutes: u32,
    /// The same with the way there.
    pub crew_minutes: u32,
    /// As the optimiser sees it, after what is drained tonight.
    pub job: Job,
    /// Day by which the complete work falls due, whatever is drained tonight.
    pub due: Option<usize>,
    /// What is drained in an emergency tonight, where it fits; else what should be.
    pub urgent: Option<Scope>,
    /// Where the complete work comes too late: the day on which its emergency drain must begin, and the drain.
    pub drain_by: Option<(usize, Scope)>,
    /// It stands in tonight's round.
    pub in_round: bool,
    /// Not before this day, and why.
    pub not_before: Option<(usize, &'static str)>,
    /// The first day from then on on which somebody works.
    pub begins_on: usize,
    /// The day of its planned haul, where it is still in the water; the number of days for one after them.
    pub haul_on: Option<usize>,
    /// Day by which it ends by the plan.
    pub done_on: Option<usize>,
    /// Last day on which to begin when all that is due earlier goes first.
    pub latest_start: Option<usize>,
    /// What an hour on it saves within the next days.
    pub saves_per_hour: f64,
    /// Put off for want of this.
    pub put_off_for: Option<String>,
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
    /// Services that the forecasts are from, as `nws-gridpoint+met-norway`, one for each place.
    pub services: Vec<String>,
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
    pub done: Vec<Boat>,
    /// Boats with circuits past their limit already, and which.
    pub frozen: Vec<Frozen>,
    /// Work that nobody of the crew may do.
    pub outside: Vec<Outside>,
    /// Places without a usable forecast and how many boats stand there.
    pub cannot_say: Vec<(SiteId, usize)>,
    /// Boats on the list in all.
    pub boats: usize,
    /// The check of due days.
    pub must: MustStart,
    /// The skill that binds it, where that is not the crew as a whole.
    pub bound_by: Option<String>,
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
    /// Whose hours the round takes.
    pub hands: Hands,
    /// When the round begins, and how many work on it.
    pub begins: (DateTime<Utc>, u32),
    /// Where somebody is called in before work begins: how many people would be in time everywhere; inner `None` where
    /// hardly any number would.
    pub early_people: Option<Option<u32>>,
    /// Minutes of today's crew hours that the round takes, ways included.
    pub round_takes_min: u32,
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
    let order = yesterdays_order(house, instant, what_if)?;
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
    before: Option<&[Visit]>,
) -> Result<YardPlan, ServiceError> {
    let settings = &house.settings.crew;
    let at = whole_hour(seen.instant.at);
    let crew = crew(house, seen, what_if)?;
    let days = crew.days(seen.instant.at, settings.days);
    let mut capacity: Vec<u32> = days.iter().map(|day| day.minutes).collect();
    let looked = look(house, seen, what_if, &days)?;
    let Sorted { mut rows, mut owners, done, frozen, outside } =
        sorted(house, seen, &crew, (&days, looked.boats));
    let scarce = scarce(house, &rows, &crew, &days);
    let (must, bound_by) = check(house, &rows, &capacity, (&days, &scarce));
    let (late, waiting) = {
        let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
        let waiting = if jobs.len() <= WAITING_BOATS_MAX && capacity.iter().any(|day| *day > 0) {
            cost_of_waiting(&jobs, &capacity, WAITING_DAYS)
        } else {
            Vec::new()
        };
        let of = |thing: &Scarce| late(&rows, &thing.has, |group| asks_for(house, group, thing));
        let scarcest = scarce.iter().map(of).max().unwrap_or(0);
        (late(&rows, &capacity, |_| true).max(scarcest), waiting)
    };
    let before: Option<Vec<usize>> = before.map(|ids| {
        let is = |row: &Row, visit: &Visit| *visit == row.visit_key();
        ids.iter().filter_map(|id| rows.iter().position(|row| is(row, id))).collect()
    });
    let from: Vec<usize> = rows.iter().map(|row| row.begins_on).collect();
    let full = capacity.clone();
    mark_urgent(&mut rows, &full);
    let (mut passes, mut settled);
    passes = 0;
    loop {
        let evening = evening(house, seen, &crew, (&days, &full), &mut rows);
        capacity.clone_from(&full);
        if let Some(today) = capacity.first_mut() {
            *today = today.saturating_sub(evening.takes_min);
        }
        let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
        let ranked = rank(&jobs, &capacity, before.as_deref());
        let room = Room { from: &from, capacity: &capacity, scarce: &scarce };
        let (order, found) = better_of(&ranked.order, &jobs, room);
        finish_rows(&mut rows, &found.done_on, &found.waited, &capacity);
        let more = ask_for_drains(&mut rows, &capacity);
        settled = (evening, ranked, order, found);
        passes += 1;
        // What has to be drained tonight takes hours, which may make others late.
        if !more || passes >= PASSES_MOST {
            break;
        }
    }
    let (mut evening, ranked, order, found) = settled;
    not_to_be_forgotten(&rows, &mut evening);
    let loss =
        found.loss + rows.iter().map(|row| row.work.price_barred(row.drained())).sum::<f64>();
    finish_owners(&mut owners, &days);
    let tail = tails(&rows);
    let (rows, now_at) = in_order(rows, &order);
    let mut plan = YardPlan {
        at: seen.instant.at,
        tail,
        boats: seen.boats.len(),
        order: to_order(&rows),
        rows,
        tonight: evening.round.map(|round| round.renamed(&now_at)),
        days,
        crew,
        services: seen
            .places
            .values()
            .filter_map(|place| Some(place.forecast.as_ref()?.service.clone()))
            .collect(),
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
        outside,
        cannot_say: looked.cannot_say,
        must,
        bound_by,
        ranked,
        loss,
        late,
        waiting,
        hands: evening.hands,
        begins: evening.begins,
        early_people: evening.early_people,
        round_takes_min: evening.takes_min,
        cart: evening.cart,
        headline: String::new(),
    };
    plan.headline = plan.headline();
    Ok(plan)
}

/// The plan for the worklist of a look over the whole yard, with yesterday's list before it as [`plan_at`] does.
///
/// # Errors
/// As [`plan_at`].
pub fn plan_of(house: &House, seen: &Survey) -> Result<YardPlan, ServiceError> {
    let what_if = WhatIf::default();
    let order = yesterdays_order(house, seen.instant, &what_if)?;
    plan(house, seen, &what_if, Some(&order))
}

fn yesterdays_order(
    house: &House,
    instant: Instant,
    what_if: &WhatIf,
) -> Result<Vec<Visit>, ServiceError> {
    let day = TimeDelta::days(1);
    let before = Instant { at: instant.at - day, known_at: instant.known_at - day };
    let seen = survey(house, before, |_| true)?;
    let yesterday = plan(house, &seen, what_if, None)?;
    Ok(yesterday.rows.iter().map(Row::visit_key).collect())
}

impl YardPlan {
    /// How far the list may be from the best possible, as a share of that; `None` where that is next to nothing.
    #[must_use]
    pub fn gap(&self) -> Option<f64> {
        let bound = self.ranked.divided.bound;
        (bound >= 0.5).then(|| (self.loss - bound).max(0.0) / bound)
    }

    /// Whose forecasts these are, with the credits that must be shown beside them.
    #[must_use]
    pub fn sources(&self) -> String {
        let services = || self.services.iter().map(String::as_str);
        let mut parts = vec![format!("Forecast: {}", credit::names(services()))];
        parts.extend(credit::credits(services()).into_iter().map(str::to_owned));
        parts.join(". ")
    }

    /// When a stop of tonight's round is done, about: the work shared among who is there, all of them going together.
    #[must_use]
    pub fn done_at(&self, stop: &Stop) -> DateTime<Utc> {
        let (begins, people) = if stop.early { (self.at, CALLED) } else { self.begins };
        let minutes = stop.done_after_min.div_ceil(people.max(1)) + stop.ways_min;
        begins + TimeDelta::minutes(i64::from(minutes))
    }

    /// Date of a day by its number.
    #[must_use]
    pub fn date(&self, day: usize) -> Option<NaiveDate> {
        self.days.get(day).map(|day| day.date)
    }

    /// Boats with work for the crew, whatever the number of visits.
    #[must_use]
    pub fn open_boats(&self) -> usize {
        let open = self.rows.iter().filter(|row| row.minutes > 0);
        let boats: BTreeSet<&BoatId> = open.map(|row| &row.boat.id).collect();
        boats.len()
    }

    /// Boats of which something ends after it falls due by the list, those aside that fall due before their haul.
    fn late_by_the_list(&self) -> usize {
        let late = self.rows.iter().filter(|row| row.is_late() && !row.is_due_before_haul());
        let boats: BTreeSet<&BoatId> = late.map(|row| &row.boat.id).collect();
        boats.len()
    }

    fn headline(&self) -> String {
        headline(&Facts {
            days: &self.days,
            must: &self.must,
            boats: self.boats,
            open: self.open_boats(),
            bound_by: self.bound_by.as_deref(),
            runs: self
                .frozen
                .iter()
                .filter(|one| one.circuits.iter().any(|circuit| circuit.runs))
                .count(),
            open_minutes: self.rows.iter().map(|row| row.crew_minutes).sum(),
            late: self.late,
            late_by_list: self.late_by_the_list(),
            passed: self.frozen.len(),
            outside: self.outside.len(),
            before_haul: self
                .rows
                .iter()
                .filter(|row| row.visit == 0 && row.is_due_before_haul())
                .count(),
            unseen: self.cannot_say.iter().map(|(_, boats)| boats).sum(),
        })
    }
}

/// The check of due days for the crew as a whole, or for a skill that few have where that is harder to meet.
fn check(
    house: &House,
    rows: &[Row],
    capacity: &[u32],
    (days, scarce): (&[WorkDay], &[Scarce]),
) -> (MustStart, Option<String>) {
    let shares: Vec<f64> = days.iter().map(|day| day.share).collect();
    let of = |asked: &dyn Fn(&GroupWork) -> bool, has: &[u32]| {
        let work: Vec<(u32, usize)> = rows.iter().flat_map(|row| row.pieces_of(asked)).collect();
        let found = must_start(&work, has);
        MustStart { need_minutes: needed_a_day(&work, &shares), ..found }
    };
    let hardness = |must: &MustStart| {
        (must.short_minutes, std::cmp::Reverse(must.latest_start.unwrap_or(usize::MAX)))
    };
    let mut hardest = (of(&|_| true, capacity), None);
    for thing in scarce {
        let must = of(&|group| asks_for(house, group, thing), &thing.has);
        if hardness(&must) > hardness(&hardest.0) {
            hardest = (must, Some(thing.what.clone()));
        }
    }
    hardest
}

/// Does a group of circuits ask for this skill?
fn asks_for(house: &House, group: &GroupWork, thing: &Scarce) -> bool {
    house.settings.crew.skills_needed.get(&group.group) == Some(&thing.what)
}

/// What has to be drained tonight and stands in no round does not fit: nobody may take the round for all there is.
fn not_to_be_forgotten(rows: &[Row], evening: &mut Tonight) {
    let left: Vec<usize> = (0..rows.len())
        .filter(|at| rows.get(*at).is_some_and(|row| row.urgent.is_some() && !row.in_round))
        .collect();
    if let Some(round) = &mut evening.round {
        for row in left {
            if !round.left_over.contains(&row) {
                round.left_over.push(row);
                let minutes = rows.get(row).and_then(|row| Some(row.work.minutes(row.urgent?)));
                round.short_min = round.short_min.saturating_add(minutes.unwrap_or(0));
            }
        }
    }
}

/// Litres of product for the complete lay-ups of the coming week.
fn to_order(rows: &[Row]) -> BTreeMap<String, f64> {
    let mut order = BTreeMap::new();
    for row in rows.iter().filter(|row| row.done_on.is_some_and(|day| day < WEEK)) {
        for (product, litres) in row.work.within(Scope::Complete).filter_map(|g| g.product.as_ref())
        {
            *order.entry(product.clone()).or_default() += litres;
        }
    }
    order
}

/// Boat by boat, whatever the number of visits.
fn tails(rows: &[Row]) -> (Tail, Tail) {
    let earlier = |known: &mut DamageDays, days: DamageDays, done_on: Option<usize>| {
        let until = done_on.map_or(NEVER - 1, |day| u8::try_from(day).unwrap_or(NEVER - 1));
        for (known, day) in known.iter_mut().zip(days) {
            *known = if day <= until { (*known).min(day) } else { *known };
        }
    };
    let mut with: BTreeMap<&BoatId, DamageDays> = BTreeMap::new();
    let mut without: BTreeMap<&BoatId, DamageDays> = BTreeMap::new();
    for row in rows {
        let after = row.work.damage_after(row.drained());
        let none = || vec![NEVER; after.len()];
        let known = with.entry(&row.boat.id).or_insert_with(none);
        earlier(known, row.work.damage_barred(row.drained()), None);
        earlier(known, after.clone(), row.done_on);
        let known = without.entry(&row.boat.id).or_insert_with(none);
        earlier(known, row.work.damage_after(None), None);
    }
    let count = |boats: &BTreeMap<&BoatId, DamageDays>| {
        let boats: Vec<_> = boats.values().map(|days| (days, None)).collect();
        tail(&boats, &AT_LEAST)
    };
    (count(&with), count(&without))
}

/// Boats that cannot be laid up completely in time, at the least (Moore 1968 on one pooled crew): of each only the work that
/// falls due first is asked for.
fn late(rows: &[Row], capacity: &[u32], asked: impl Fn(&GroupWork) -> bool) -> usize {
    let by = |day: usize| capacity.iter().take(day + 1).map(|m| u64::from(*m)).sum::<u64>();
    let first = |row: &Row| {
        let pieces = row.pieces_of(&asked);
        let due = pieces.iter().map(|(_, due)| *due).min()?;
        let minutes = pieces.iter().filter(|(_, by)| *by == due).map(|(minutes, _)| *minutes);
        Some((u64::from(minutes.sum::<u32>()), by(due)))
    };
    let work: Vec<(u64, u64)> = rows.iter().filter_map(first).collect();
    fewest_late(&work).len()
}
