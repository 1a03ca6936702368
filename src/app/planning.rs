//! The crew plan of a yard: from a look over it to jobs, from the configuration to a crew, and through the optimiser.
//! Reads only.

mod evening;
mod hands;
pub mod lines;
mod look;
mod row;
mod rows;
mod spring;
mod sums;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::app::assess::{AsOf, Assessment, assess, whole_hour};
use crate::app::context::{AppContext, ServiceError};
use crate::app::settings::crew::Objective;
use crate::domain::boat::{Boat, BoatId, SiteId};
use crate::domain::risk::plan::Job;
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::MustStart;
use crate::domain::risk::plan::order::{Ranked, cost_of_waiting, rank};
use crate::domain::risk::plan::schedule::{Room, Scarce, better_of};
use crate::domain::risk::plan::tail::Tail;
use crate::domain::risk::plan::tonight::{Round, Stop};
use crate::domain::risk::plan::words::{Facts, headline};
use crate::domain::weather::credit;
pub use evening::RoundCrew;
use evening::{
    CALL_IN, CALLED, Tonight, ask_for_drains, calendar, evening, load, mark_urgent, way_of,
};
use hands::{crew, scarce};
use look::look;
pub use row::{Row, Visit, WhatIf};
pub use rows::{Frozen, Outside};
use rows::{Sorted, finish_owners, finish_rows, in_order, sorted};
pub use spring::FillFrom;
use spring::fill_from;
use sums::{asks_for, check, first_due, late, spared, tails, to_order};

/// Days of which it is shown what waiting costs.
const WAITING_DAYS: usize = 7;
/// With more boats than this the curve of waiting is left out: each of its points is a whole plan.
pub const WAITING_BOATS_MAX: usize = 600;
/// How often the round and the list are settled against each other, at most.
const PASSES_MOST: usize = 3;

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
    /// The first day on which work of the crew falls due.
    pub first_due: Option<usize>,
    /// Technicians who are away, by the question that was asked.
    pub away: Vec<String>,
    /// The skill that binds it, where that is not the crew as a whole.
    pub bound_by: Option<String>,
    /// The list with its bound; indices are those of [`YardPlan::rows`] before ranking and of no use here.
    pub ranked: Ranked,
    /// Expected loss of the list after second capacities and tonight's round.
    pub loss: f64,
    /// What the emergency drains that have a day of their own spare of that, if they are made.
    pub drains_spare: f64,
    /// Every boat counts alike: losses are numbers of damaged boats, not money.
    pub equal: bool,
    /// Chance of another freeze up to which water may be filled in again.
    pub fill_tolerance: f64,
    /// Boats that cannot be laid up completely in time, at the least.
    pub late: usize,
    /// What the best list would lose if nothing were done before each of the next days.
    pub waiting: Vec<f64>,
    /// Damaged boats, by the plan and with nothing done.
    pub tail: (Tail, Tail),
    /// Emergency drains of this evening: indices of [`YardPlan::rows`].
    pub tonight: Option<Round>,
    /// Whose hours the round takes.
    pub hands: RoundCrew,
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
    house: &AppContext,
    instant: AsOf,
    what_if: &WhatIf,
) -> Result<YardPlan, ServiceError> {
    let order = yesterdays_order(house, instant, what_if)?;
    let seen = assess(house, instant, |_| true)?;
    plan(house, &seen, what_if, Some(&order))
}

/// The plan for a look over the yard; `before` is yesterday's list, where there is one.
///
/// # Errors
/// A hole in the tables, or an unknown technician.
pub fn plan(
    house: &AppContext,
    seen: &Assessment,
    what_if: &WhatIf,
    before: Option<&[Visit]>,
) -> Result<YardPlan, ServiceError> {
    let settings = &house.settings.crew;
    let at = whole_hour(seen.instant.at);
    let crew = crew((settings, &house.settings.yard), seen, what_if)?;
    let days = crew.days(seen.instant.at, settings.days);
    let mut capacity: Vec<u32> = days.iter().map(|day| day.minutes).collect();
    let looked = look(house, seen, what_if, &days)?;
    let Sorted { mut rows, mut owners, done, frozen, outside } =
        sorted(settings, seen, &crew, (&days, looked.boats));
    let scarce = scarce(settings, &rows, &crew, &days);
    let (must, bound_by) = check(settings, &rows, &capacity, (&days, &scarce));
    let (late, waiting) = {
        let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
        let waiting = if jobs.len() <= WAITING_BOATS_MAX && capacity.iter().any(|day| *day > 0) {
            cost_of_waiting(&jobs, &capacity, WAITING_DAYS)
        } else {
            Vec::new()
        };
        let of = |thing: &Scarce| late(&rows, &thing.has, |group| asks_for(settings, group, thing));
        let scarcest = scarce.iter().map(of).max().unwrap_or(0);
        (late(&rows, &capacity, |_| true).max(scarcest), waiting)
    };
    let before: Option<Vec<usize>> = before.map(|ids| {
        let is = |row: &Row, visit: &Visit| *visit == row.visit_key();
        ids.iter().filter_map(|id| rows.iter().position(|row| is(row, id))).collect()
    });
    let from: Vec<usize> = rows.iter().map(|row| row.begins_on).collect();
    let full = capacity.clone();
    let working = calendar(&days);
    mark_urgent(&mut rows, &working);
    mark_urgent(&mut owners, &working);
    let nobody = full.iter().all(|minutes| *minutes == 0);
    let (mut passes, mut settled);
    passes = 0;
    // Minutes of each day that emergency drains with a day of their own take.
    let mut reserved: Vec<u32> = vec![0; full.len()];
    loop {
        let evening = evening(settings.objective, seen, &crew, (&days, &full), &mut rows);
        capacity.clone_from(&full);
        if let Some(today) = capacity.first_mut() {
            *today = today.saturating_sub(evening.takes_min);
        }
        let hours = if nobody { working.clone() } else { capacity.clone() };
        for (minutes, reserved) in capacity.iter_mut().zip(&reserved) {
            *minutes = minutes.saturating_sub(*reserved);
        }
        let jobs: Vec<Job> = rows.iter().map(|row| row.job.clone()).collect();
        let ranked = rank(&jobs, &capacity, before.as_deref());
        let room = Room { from: &from, capacity: &capacity, scarce: &scarce };
        let (order, found) = better_of(&ranked.order, &jobs, room);
        finish_rows(&mut rows, &found, &capacity);
        // What has to be drained takes hours, which may make others late. The last pass asks for no more.
        let people = evening.begins.1;
        let way = |place: &SiteId| way_of(seen, place).saturating_mul(people);
        let more = passes < PASSES_MOST && ask_for_drains(&mut rows, &hours, &way);
        let before = std::mem::replace(&mut reserved, reserve(&rows, &full));
        settled = (evening, ranked, order, found);
        passes += 1;
        if !more && (before == reserved || passes > PASSES_MOST) {
            break;
        }
    }
    let (mut evening, ranked, order, found) = settled;
    not_to_be_forgotten(&rows, &mut evening);
    for row in &owners {
        if let Some(scope) = row.urgent {
            load(&mut evening.cart, row, scope);
        }
    }
    let equal = settings.objective == Objective::FewestBoats;
    let drains_spare = spared(&rows, equal);
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
        first_due: first_due(&rows),
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
            house.past_archives(),
            (&house.catalogue, house.settings.season.tolerance),
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
        drains_spare,
        equal,
        away: what_if.without.clone(),
        fill_tolerance: house.settings.season.tolerance,
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
pub fn plan_of(house: &AppContext, seen: &Assessment) -> Result<YardPlan, ServiceError> {
    let what_if = WhatIf::default();
    let order = yesterdays_order(house, seen.instant, &what_if)?;
    plan(house, seen, &what_if, Some(&order))
}

fn yesterdays_order(
    house: &AppContext,
    instant: AsOf,
    what_if: &WhatIf,
) -> Result<Vec<Visit>, ServiceError> {
    let day = TimeDelta::days(1);
    let before = AsOf { at: instant.at - day, known_at: instant.known_at - day };
    let seen = assess(house, before, |_| true)?;
    let yesterday = plan(house, &seen, what_if, None)?;
    Ok(yesterday.rows.iter().map(Row::visit_key).collect())
}

impl YardPlan {
    /// How far the list may be from the best possible, as a share of that; `None` where that is next to nothing.
    #[must_use]
    pub fn gap(&self) -> Option<f64> {
        let bound = self.ranked.divided.bound;
        (bound >= self.next_to_nothing()).then(|| (self.loss - bound).max(0.0) / bound)
    }

    /// Whose forecasts these are, with the credits that must be shown beside them.
    #[must_use]
    pub fn sources(&self) -> String {
        if self.services.is_empty() {
            return String::new();
        }
        let services = || self.services.iter().map(String::as_str);
        let mut parts = vec![format!("Forecast: {}", credit::names(services()))];
        parts.extend(credit::credits(services()).into_iter().map(str::to_owned));
        parts.join(". ")
    }

    /// When a stop of tonight's round is done, about: the work shared among who is there, all of them going together.
    #[must_use]
    pub fn done_at(&self, stop: &Stop) -> DateTime<Utc> {
        let (begins, people) = if stop.early { (self.at + CALL_IN, CALLED) } else { self.begins };
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

    /// Boats of owners that have ice, or fall due before the next working day, and are not confirmed.
    pub fn owners_tonight(&self) -> impl Iterator<Item = &Row> {
        self.owners.iter().filter(|row| row.urgent.is_some())
    }

    /// Less than this is next to nothing: half a unit of money, or a chance of half a percent for one boat.
    #[must_use]
    pub const fn next_to_nothing(&self) -> f64 {
        if self.equal { 0.005 } else { 0.5 }
    }

    /// Boats of which something ends after it falls due by the list.
    fn late_by_the_list(&self) -> usize {
        let late = self.rows.iter().filter(|row| row.minutes > 0 && row.is_late());
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
            owners: self.owners_tonight().count(),
            first_due: self.first_due,
            away: &self.away,
            drains: self.tonight.as_ref().is_some_and(|round| !round.stops.is_empty()),
        })
    }
}

/// Minutes of each day that the emergency drains which begin on it take.
fn reserve(rows: &[Row], capacity: &[u32]) -> Vec<u32> {
    let mut reserved = vec![0_u32; capacity.len()];
    for row in rows {
        let Some((day, _)) = row.dated() else { continue };
        if let Some(slot) = reserved.get_mut(day) {
            *slot = slot.saturating_add(row.drain_takes_min);
        }
    }
    reserved
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
