//! The boats of a plan: whose work they are, since when they can be worked on, and where they stand in the list.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::app::assess::{AssessedBoat, Assessment, whole_hour};
use crate::app::planning::row::{Row, Visit};
use crate::app::settings::crew::CrewSettings;
use crate::app::settings::crew::Objective;
use crate::domain::boat::{Boat, BoatId, Care, SiteId};
use crate::domain::risk::plan::boat::{BoatWork, FrozenCircuit, Scope};
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::latest_starts;
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::schedule::Scheduled;
use crate::domain::risk::plan::{INDEX_DAYS, Job};
use crate::domain::yard::SiteKind;

/// What a boat waits for that is still in the water.
const HAULED: &str = "hauled";

/// Boats by who works on them, and whether anything is open.
pub(crate) struct Sorted {
    pub rows: Vec<Row>,
    pub owners: Vec<Row>,
    pub done: Vec<Boat>,
    pub frozen: Vec<Frozen>,
    pub outside: Vec<Outside>,
}

/// A boat with circuits past their limit already.
#[derive(Debug, Clone)]
pub struct Frozen {
    /// The boat.
    pub boat: Boat,
    /// Where it is: place, and where in it.
    pub at: (SiteId, String),
    /// Which circuits.
    pub circuits: Vec<FrozenCircuit>,
}

fn where_at(elsewhere: bool, place: &SiteId, boat: &Boat) -> (SiteId, String) {
    if elsewhere {
        (AFLOAT.into(), BERTH.to_owned())
    } else {
        (place.clone(), boat.location.clone())
    }
}

/// Work that asks for a skill which nobody of the crew has: somebody has to be called for it.
#[derive(Debug, Clone)]
pub struct Outside {
    /// The boat.
    pub boat: Boat,
    /// Where it is: place, and where in it.
    pub at: (SiteId, String),
    /// What is open.
    pub group: GroupWork,
    /// What it asks for.
    pub skill: String,
}

pub(crate) fn sorted(
    settings: &CrewSettings,
    seen: &Assessment,
    crew: &Crew,
    (days, boats): (&[WorkDay], Vec<(&AssessedBoat, BoatWork)>),
) -> Sorted {
    let mut found = Sorted {
        rows: Vec::new(),
        owners: Vec::new(),
        done: Vec::new(),
        frozen: Vec::new(),
        outside: Vec::new(),
    };
    for (view, mut work) in boats {
        let site = seen.places.get(&work.place).map(|place| &place.site);
        let is_berth = site.is_some_and(|site| site.kind == SiteKind::Afloat);
        // A boat that is still in the water does not stand where it will.
        let elsewhere = view.state.afloat && !is_berth || view.state.assumed_ashore;
        let at = |work: &BoatWork| where_at(elsewhere, &work.place, &view.boat);
        for group in &mut work.groups {
            group.watched = is_watched(group, whole_hour(seen.instant.at), days);
        }
        let passed = !work.frozen.is_empty();
        if passed {
            let circuits = work.frozen.clone();
            found.frozen.push(Frozen { boat: view.boat.clone(), at: at(&work), circuits });
        }
        if work.is_done() {
            // What has frozen through is no crew work that can be planned, and least of all done.
            if !passed {
                found.done.push(view.boat.clone());
            }
            continue;
        }
        let travel = site.filter(|_| !elsewhere).map_or(0.0, |site| site.travel_minutes);
        if view.boat.care == Care::Owner {
            found.owners.push(row(
                settings.objective,
                view,
                (work, days),
                crew,
                (travel, elsewhere),
            ));
            continue;
        }
        // It must not count as protected by a plan in which nobody can do it.
        let needed = &settings.skills_needed;
        let place = at(&work);
        for group in &mut work.groups {
            group.barred = needed.get(&group.group).filter(|skill| crew.able(skill) == 0).cloned();
            if let Some(skill) = group.barred.clone() {
                let (boat, at, group) = (view.boat.clone(), place.clone(), group.clone());
                found.outside.push(Outside { boat, at, group, skill });
            }
        }
        let begins = |day: usize| working_from(day, days);
        for (visit, work) in work.visits(&begins).into_iter().enumerate() {
            let one = row(settings.objective, view, (work, days), crew, (travel, elsewhere));
            found.rows.push(Row { visit, ..one });
        }
    }
    if let Some(slots) = crew.lift_slots {
        wait_for_the_lift(&mut found.rows, slots, days, settings.objective);
    }
    found
}

/// Does it thaw before tomorrow's work begins, and freeze again before anybody is back?
fn is_watched(group: &GroupWork, at: DateTime<Utc>, days: &[WorkDay]) -> bool {
    let opens = |day: usize| days.get(day).map(|day| day.opens);
    let thaws = group.thaws_at.zip(opens(1)).is_some_and(|(thaws, opens)| thaws < opens);
    let over = group.over_in_h.map(|hours| at + TimeDelta::hours(i64::from(hours)));
    let back = opens(working_from(1, days));
    group.refreezes_first && thaws && over.zip(back).is_some_and(|(over, back)| over < back)
}

/// No more boats are hauled on a day than the lift moves: the others wait for the next working day, those that lose least
/// by it first.
fn wait_for_the_lift(rows: &mut [Row], slots: u32, days: &[WorkDay], objective: Objective) {
    let slots = usize::try_from(slots).unwrap_or(usize::MAX);
    let mut hauls: BTreeMap<BoatId, usize> = BTreeMap::new();
    for row in rows.iter() {
        if let Some(day) = row.haul_on {
            hauls.insert(row.boat.id.clone(), day);
        }
    }
    let loses = |rows: &[Row], boat: &BoatId, day: usize| -> f64 {
        let own = rows.iter().filter(|row| row.boat.id == *boat);
        own.map(|row| row.work.job(Scope::Complete, 1, false).price_on(day + 1)).sum()
    };
    for (day, one) in days.iter().enumerate() {
        let mut here: Vec<(f64, BoatId)> = hauls
            .iter()
            .filter(|(_, haul)| **haul == day)
            .map(|(boat, _)| (loses(rows, boat, day), boat.clone()))
            .collect();
        here.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
        for (_, boat) in here.into_iter().skip(if one.minutes > 0 { slots } else { 0 }) {
            hauls.insert(boat, day + 1);
        }
    }
    for row in rows.iter_mut() {
        let Some(day) = hauls.get(&row.boat.id).copied() else { continue };
        if Some(day) == row.haul_on || row.not_before.is_some_and(|(from, _)| from > day) {
            continue;
        }
        row.not_before = Some((day, HAULED));
        row.begins_on = working_from(day, days);
        row.put_off_for = Some("the lift".to_owned());
        row.set_job(objective == Objective::FewestBoats);
    }
}

fn row(
    objective: Objective,
    view: &AssessedBoat,
    (work, days): (BoatWork, &[WorkDay]),
    crew: &Crew,
    (travel, elsewhere): (f64, bool),
) -> Row {
    let minutes = work.minutes(Scope::Complete);
    let crew_minutes = crew.with_travel(minutes, travel);
    let haul = view.boat.haul_date.filter(|_| view.state.afloat || view.state.assumed_ashore);
    let mut row = Row {
        boat: view.boat.clone(),
        visit: 0,
        elsewhere,
        assumed_ashore: view.state.assumed_ashore,
        not_before: not_before(&work, haul, days),
        begins_on: 0,
        haul_on: haul.map(|date| days.iter().take_while(|day| day.date < date).count()),
        work,
        minutes,
        crew_minutes,
        job: Job {
            boat: view.boat.id.clone(),
            place: view.state.site.clone(),
            minutes: 1,
            price: Vec::new(),
            due: None,
            loss: 0.0,
        },
        due: None,
        urgent: None,
        drain_by: None,
        drain_takes_min: 0,
        in_round: false,
        saves_per_hour: 0.0,
        begun_on: None,
        done_on: None,
        latest_start: None,
        put_off_for: None,
    };
    row.begins_on = row.not_before.map_or(0, |(day, _)| working_from(day, days));
    row.set_job(objective == Objective::FewestBoats);
    row.due = row.work.last_day();
    row
}

/// The first day from `day` on on which somebody works; `day` where nobody does.
fn working_from(day: usize, days: &[WorkDay]) -> usize {
    let working = days.iter().enumerate().skip(day).find(|(_, one)| one.minutes > 0);
    working.map_or(day, |(number, _)| number)
}

/// The first day on which the complete lay-up can begin, where that is not today: the boat is still in the water and its
/// haul is planned, or all that is open is frozen.
fn not_before(
    work: &BoatWork,
    haul: Option<NaiveDate>,
    days: &[WorkDay],
) -> Option<(usize, &'static str)> {
    let hauled = haul.map(|date| days.iter().take_while(|day| day.date < date).count());
    let waits = [(hauled.unwrap_or(0), HAULED), (work.thaws_on(), "thawed")];
    waits.into_iter().filter(|(day, _)| *day > 0).max_by_key(|(day, _)| *day)
}

/// Where boats lie that are still in the water, as a place of its own: where that is, is not on record.
const AFLOAT: &str = "AFLOAT";
const BERTH: &str = "berth: ask";

impl Row {
    /// The boat, and the groups of this visit: from day to day it is the same one.
    #[must_use]
    pub fn visit_key(&self) -> Visit {
        let groups: Vec<String> = self
            .work
            .groups
            .iter()
            .map(|group| format!("{}{}", group.group, if group.solid { " frozen" } else { "" }))
            .collect();
        (self.boat.id.clone(), groups.join("+"))
    }

    /// The day under which it is listed: that on which it is begun, if it ends within the days.
    #[must_use]
    pub fn listed_on(&self) -> Option<usize> {
        self.begun_on.filter(|_| self.done_on.is_some())
    }

    /// Where somebody goes to work on it today.
    #[must_use]
    pub fn place(&self) -> SiteId {
        if self.elsewhere { AFLOAT.into() } else { self.work.place.clone() }
    }

    /// Where in that place it is.
    #[must_use]
    pub fn location(&self) -> &str {
        if self.elsewhere { BERTH } else { &self.boat.location }
    }

    /// The day by which the complete work falls due now, after what is drained tonight, whether or not it can begin by then.
    #[must_use]
    pub fn due_now(&self) -> Option<usize> {
        let open = self.work.within(Scope::Complete);
        open.filter_map(|group| group.last_day_where(self.is_drained_tonight(group))).min()
    }

    /// Does the complete work end after it falls due, or not within the days? What waits for a thaw that is weeks off is not
    /// late yet.
    #[must_use]
    pub fn is_late(&self) -> bool {
        !self.work.thaws_far_off()
            && self.due_now().is_some_and(|due| self.done_on.is_none_or(|done| done > due))
    }

    /// Does it freeze, by its tolerance, before it comes out of the water?
    #[must_use]
    pub fn is_due_before_haul(&self) -> bool {
        self.due_now().zip(self.haul_on).is_some_and(|(due, haul)| due < haul)
    }

    /// What is drained in tonight's round.
    #[must_use]
    pub fn drained(&self) -> Option<Scope> {
        self.urgent.filter(|_| self.in_round)
    }

    /// Is what presses on it to be drained when it thaws, after the day's hours?
    #[must_use]
    pub fn is_watched(&self) -> bool {
        self.urgent.is_some_and(|scope| self.work.within(scope).any(|group| group.watched))
    }

    /// The emergency drain that has a day of its own, beyond what is drained tonight: the day on which it begins.
    #[must_use]
    pub fn dated(&self) -> Option<(usize, Scope)> {
        self.drain_by
            .filter(|(_, scope)| self.urgent != Some(*scope) && self.undrained_min(*scope) > 0)
    }

    /// Minutes of an emergency drain that tonight's round leaves open.
    #[must_use]
    pub fn undrained_min(&self, scope: Scope) -> u32 {
        let open = self.work.within(scope).filter(|group| !self.is_drained_tonight(group));
        open.map(|group| group.minutes.emergency).sum()
    }

    /// All emergency drains that the plan counts on, each with the day by whose evening it is made: at the latest that on which
    /// it falls due.
    #[must_use]
    pub fn drains(&self) -> Vec<(Scope, usize)> {
        let tonight = self.drained().map(|scope| (scope, 0));
        let dated = self.dated().and_then(|(begins, scope)| {
            let open = self.work.within(scope).filter(|group| !self.is_drained_tonight(group));
            Some((scope, open.filter_map(|group| group.last_day).min()?.max(begins)))
        });
        tonight.into_iter().chain(dated).collect()
    }

    /// What of it thaws tonight, freezes again before anybody is back, and is in no round.
    #[must_use]
    pub fn refreezes_first(&self) -> bool {
        let mut own = self.work.groups.iter();
        own.any(|group| group.refreezes_first && !self.is_drained_tonight(group))
    }

    /// Is this group of circuits drained in tonight's round?
    #[must_use]
    pub fn is_drained_tonight(&self, group: &GroupWork) -> bool {
        self.drained().is_some_and(|scope| scope.reaches(group))
    }

    /// The complete work group by group, of those that `asked` names, as crew minutes and the day on which it falls due, where
    /// it does within the days; nothing before the boat can be worked on.
    pub(crate) fn pieces_of(&self, asked: impl Fn(&GroupWork) -> bool) -> Vec<(u32, usize)> {
        let from = |group: &GroupWork| match self.not_before {
            // Nobody is helped by a start after it has frozen again.
            Some(_) if group.refreezes_first => self.haul_on.unwrap_or(0),
            Some((day, _)) => day,
            None => 0,
        };
        let days = self.job.price.len().saturating_sub(1);
        let way = f64::from(self.crew_minutes) / f64::from(self.minutes.max(1));
        self.work
            .within(Scope::Complete)
            .filter(|group| asked(group))
            .filter_map(|group| Some((group.minutes.complete, group.last_day?.max(from(group)))))
            .filter(|(_, due)| *due < days)
            .map(|(minutes, due)| (whole(f64::from(minutes) * way), due))
            .collect()
    }

    /// The complete lay-up as the optimiser sees it: after what is drained tonight, and with nothing to be gained by a day on
    /// which it cannot begin yet.
    pub(crate) fn set_job(&mut self, equal: bool) {
        let drained = self.drained();
        let mut job = self.work.job_after(drained, Scope::Complete, self.crew_minutes, equal);
        job.place = self.place();
        if self.not_before.is_some() {
            let from = self.begins_on;
            let price = job.price_on(from);
            for early in job.price.iter_mut().take(from) {
                *early = price;
            }
            let days = job.price.len().saturating_sub(1);
            job.due = job.due.map(|due| due.max(from)).filter(|due| *due < days);
        }
        self.saves_per_hour = job.saves_per_hour(INDEX_DAYS - 1);
        self.job = job;
    }
}

pub(crate) fn finish_rows(rows: &mut [Row], found: &Scheduled, capacity: &[u32]) {
    let dated: Vec<(u32, usize)> = rows
        .iter()
        .map(|row| (row.crew_minutes, row.job.due.unwrap_or(capacity.len().saturating_sub(1))))
        .collect();
    let starts = latest_starts(&dated, capacity);
    let days = found.done_on.iter().zip(&found.begun_on).zip(starts);
    for ((place, row), ((day, begun), start)) in rows.iter_mut().enumerate().zip(days) {
        row.begun_on = begun.filter(|_| row.minutes > 0);
        // What only others may lay up is not done by this list.
        row.done_on = day.filter(|_| row.minutes > 0);
        let from = row.begins_on;
        let in_time = |day: &usize| {
            *day >= from && row.job.due.is_some() && row.due_now().is_none_or(|due| due >= from)
        };
        row.latest_start = start.filter(in_time);
        let waited =
            found.waited.iter().find(|(job, _)| *job == place).map(|(_, what)| what.clone());
        row.put_off_for = waited.or_else(|| {
            row.put_off_for.take().filter(|_| row.not_before.map(|(day, _)| day) > row.haul_on)
        });
    }
}

/// Owners have every day; the last one on which to begin is that on which it falls due.
pub(crate) fn finish_owners(owners: &mut [Row], days: &[WorkDay]) {
    for row in owners {
        row.latest_start = row.due.filter(|day| *day < days.len());
    }
}

/// In the order of the list, what was put off with its new day; and for each row of before where it stands now.
pub(crate) fn in_order(rows: Vec<Row>, order: &[usize]) -> (Vec<Row>, Vec<usize>) {
    let mut now_at = vec![usize::MAX; rows.len()];
    let mut slots: Vec<Option<Row>> = rows.into_iter().map(Some).collect();
    let mut listed: Vec<(usize, Row)> = order
        .iter()
        .filter_map(|place| Some((*place, slots.get_mut(*place).and_then(Option::take)?)))
        .collect();
    listed.sort_by_key(|(_, row)| {
        let due = row.due_now().unwrap_or(usize::MAX);
        let begins_after = row.begins_on + 1 >= row.job.price.len();
        (
            row.listed_on().unwrap_or(usize::MAX),
            begins_after,
            row.done_on,
            row.is_late().then_some(due),
        )
    });
    for (place, (before, _)) in listed.iter().enumerate() {
        if let Some(slot) = now_at.get_mut(*before) {
            *slot = place;
        }
    }
    (listed.into_iter().map(|(_, row)| row).collect(), now_at)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "minutes of a boat's work, clamped"
)]
fn whole(minutes: f64) -> u32 {
    minutes.round().clamp(0.0, 1e7) as u32
}
