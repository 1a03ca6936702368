//! One boat's open work: per group of circuits the minutes, what to take along, when the cold would take it, and the
//! last day that keeps the chance of that under the tolerance.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::Job;
use super::due::last_day_at;
use super::group::{Draft, GroupWork, Pressing, hour_over, shares};
use super::passage::{Now, Passage, Passages};
use super::tail::{DamageDays, NEVER};
use super::work::WorkTable;
use crate::domain::boat::{Boat, BoatId, BoatState, Holds, SiteId};
use crate::domain::catalogue::Consequence;
use crate::domain::risk::Limit;
use crate::domain::risk::judge::{JudgeError, interrupts, wanted_on};

/// Tolerances by harm: small parts may be risked more readily than blocks, in the same steps as alerts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    severe: f64,
}

/// No tolerance is above this: more than one in four is no tolerance but a bet.
const TOLERANCE_MAX: f64 = 0.25;

impl Tolerance {
    /// From that for severe harm, 0 to 0.25.
    #[must_use]
    pub const fn severe(share: f64) -> Self {
        Self { severe: share.clamp(0.0, TOLERANCE_MAX) }
    }

    /// This one, or what the owner of a boat asks to be told of where that is less: the yard's work for a boat is not laxer than
    /// what its owner reckons with.
    #[must_use]
    pub const fn of_owner(self, wish: Option<f64>) -> Self {
        match wish {
            Some(wish) => Self { severe: wanted_on(wish, self.severe) },
            None => self,
        }
    }

    /// The tolerance for a harm: twice as much for major, three times for minor, as with the alert thresholds.
    #[must_use]
    pub fn of(self, consequence: Consequence) -> f64 {
        let times = match consequence {
            Consequence::Severe => 1.0,
            Consequence::Major => 2.0,
            Consequence::Minor => 3.0,
        };
        (self.severe * times).min(TOLERANCE_MAX)
    }
}

/// The coming days: the instant at which each day's work ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evenings(pub Vec<DateTime<Utc>>);

impl Evenings {
    /// The day by whose evening an instant has come: the number of days for what comes after the last.
    fn day_of(&self, at: DateTime<Utc>) -> usize {
        self.0.partition_point(|evening| *evening < at)
    }
}

/// A circuit that is past its limit already.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrozenCircuit {
    /// As people call it.
    pub label: String,
    /// Ice has begun, but not so much that parts are likely to be broken: what still runs is let out at once.
    pub runs: bool,
    /// When it has thawed in half of all members; `None` beyond the days.
    pub thaws: Option<DateTime<Utc>>,
}

/// The open work of a boat.
#[derive(Debug, Clone, PartialEq)]
pub struct BoatWork {
    /// Which boat.
    pub boat: BoatId,
    /// Where it stands.
    pub place: SiteId,
    /// Open groups, in the order of the work.
    pub groups: Vec<GroupWork>,
    /// Circuits past their limit already. Those that still run, and those that thaw and may freeze again, are among the
    /// open ones as well.
    pub frozen: Vec<FrozenCircuit>,
    /// The tolerance for severe harm that its owner asks for, where that is less than the yard's.
    pub asked_for: Option<f64>,
    /// Members and days.
    days: usize,
    members: usize,
}

/// What is asked of the lay-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// All open groups that the crew may do, complete.
    Complete,
    /// Emergency drains of the groups that are due by this day.
    Emergency(usize),
}

impl Scope {
    /// Is this group in it?
    #[must_use]
    pub fn reaches(self, group: &GroupWork) -> bool {
        match self {
            Self::Complete => group.barred.is_none(),
            // What is frozen through cannot be drained before it has thawed: today, or tonight by somebody who is there for it.
            Self::Emergency(day) => {
                (group.thaws_on == 0 || group.watched)
                    && group.last_day.is_some_and(|last| last <= day)
            }
        }
    }
}

impl BoatWork {
    /// Whether nothing is open.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.groups.is_empty()
    }

    /// The groups that a scope reaches.
    pub fn within(&self, scope: Scope) -> impl Iterator<Item = &GroupWork> {
        self.groups.iter().filter(move |group| scope.reaches(group))
    }

    /// Hands-on minutes of a scope.
    #[must_use]
    pub fn minutes(&self, scope: Scope) -> u32 {
        let one = |group: &GroupWork| match scope {
            Scope::Complete => group.minutes.complete,
            Scope::Emergency(_) => group.minutes.emergency,
        };
        self.within(scope).map(one).sum()
    }

    /// Last day of the most pressing group.
    #[must_use]
    pub fn last_day(&self) -> Option<usize> {
        self.groups.iter().filter_map(|group| group.last_day).min()
    }

    /// Is anything of it over its tolerance by tonight whatever is done?
    #[must_use]
    pub fn over_already(&self) -> bool {
        self.groups.iter().any(|group| group.over_already)
    }

    /// Hours until the first group of a scope passes its tolerance.
    #[must_use]
    pub fn over_in_h(&self, scope: Scope) -> Option<u16> {
        self.within(scope).filter_map(|group| group.over_in_h).min()
    }

    /// Hours until harm that cannot be mended comes to the first group of a scope, by its tolerance.
    #[must_use]
    pub fn harm_in_h(&self, scope: Scope) -> Option<u16> {
        self.within(scope).filter_map(|group| group.harm_in_h).min()
    }

    /// The work of a scope as a job; `minutes` are what the crew spends on it, the way there included. `equal`: every boat
    /// counts alike, for yards that would rather have the fewest damaged.
    #[must_use]
    pub fn job(&self, scope: Scope, minutes: u32, equal: bool) -> Job {
        self.job_after(None, scope, minutes, equal)
    }

    /// The same after the groups of `drained` have been drained today: nothing more happens to them than has by this evening.
    #[must_use]
    pub fn job_after(
        &self,
        drained: Option<Scope>,
        scope: Scope,
        minutes: u32,
        equal: bool,
    ) -> Job {
        let groups: Vec<&GroupWork> = self.within(scope).collect();
        let is_drained = |group: &GroupWork| drained.is_some_and(|scope| scope.reaches(group));
        let price_of = |group: &GroupWork, day: usize| {
            group.price_after(if is_drained(group) { 0 } else { self.days }, day)
        };
        let drains: Vec<(Scope, usize)> = drained.map(|scope| (scope, 0)).into_iter().collect();
        let price = if equal {
            shares(&self.damage_after(&drains), self.days)
        } else {
            (0..=self.days)
                .map(|day| groups.iter().map(|group| price_of(group, day)).sum())
                .collect()
        };
        let loss = if equal { 1.0 } else { groups.iter().map(|group| group.loss).sum() };
        let due = groups.iter().filter_map(|group| group.last_day_where(is_drained(group))).min();
        Job {
            boat: self.boat.clone(),
            place: self.place.clone(),
            minutes: minutes.max(1),
            price,
            due,
            loss,
        }
    }

    /// The day of the first damage, member by member, after emergency drains: each with the day by whose evening it is made.
    #[must_use]
    pub fn damage_after(&self, drains: &[(Scope, usize)]) -> DamageDays {
        let mut first = vec![NEVER; self.members];
        for group in &self.groups {
            let own = drains.iter().filter(|(scope, _)| scope.reaches(group));
            let until = own.map(|(_, day)| u8::try_from(*day).unwrap_or(NEVER)).min();
            let until = until.unwrap_or(NEVER);
            for ((day, other), tested) in
                first.iter_mut().zip(&group.damage).zip(&group.tested_damage)
            {
                let other = if *other <= until { *other } else { *tested };
                *day = (*day).min(other);
            }
        }
        first
    }

    /// What an emergency drain by the evening of `by` spares until the complete work ends on `done_on`, beyond what is drained
    /// tonight.
    #[must_use]
    pub fn spared_by(
        &self,
        tonight: Option<Scope>,
        (dated, by): (Scope, usize),
        done_on: Option<usize>,
        equal: bool,
    ) -> f64 {
        let end = done_on.unwrap_or(self.days);
        if equal {
            let before: Vec<(Scope, usize)> = tonight.map(|scope| (scope, 0)).into_iter().collect();
            let after = [&before[..], &[(dated, by)]].concat();
            let lost = |drains: &[(Scope, usize)]| {
                let by_day = shares(&self.damage_after(drains), self.days);
                by_day.get(end).copied().unwrap_or(0.0)
            };
            return (lost(&before) - lost(&after)).max(0.0);
        }
        let own = self.groups.iter().filter(|group| {
            dated.reaches(group) && !tonight.is_some_and(|scope| scope.reaches(group))
        });
        own.map(|group| {
            let end = if group.barred.is_some() { self.days } else { end };
            (group.price_after(self.days, end) - group.price_after(by, end)).max(0.0)
        })
        .sum()
    }

    /// The first day on which all that is open can be worked on: what is frozen through has thawed.
    #[must_use]
    pub fn thaws_on(&self) -> usize {
        self.groups.iter().map(|group| group.thaws_on).max().unwrap_or(0)
    }

    /// The damage of the groups that the crew may not lay up, member by member, as [`BoatWork::damage_after`].
    #[must_use]
    pub fn damage_barred(&self, drains: &[(Scope, usize)]) -> DamageDays {
        let barred = self.groups.iter().filter(|group| group.barred.is_some()).cloned();
        self.only(barred.collect()).damage_after(drains)
    }

    /// What these groups are expected to lose where the crew may not lay them up.
    #[must_use]
    pub fn price_barred(&self, drained: Option<Scope>) -> f64 {
        let barred = self.groups.iter().filter(|group| group.barred.is_some());
        let is_drained = |group: &GroupWork| drained.is_some_and(|scope| scope.reaches(group));
        let price = |group: &GroupWork| {
            group.price_after(if is_drained(group) { 0 } else { self.days }, self.days)
        };
        barred.map(price).sum()
    }

    /// The work visit by visit: what can be worked on now, then what is frozen through. One goes once to all that has
    /// thawed, unless some of it would freeze again before the rest has thawed. `begins` is the first day from a day on on
    /// which somebody works: what thaws on a weekend is one visit. Thaws further off than a week are too vague to go twice.
    #[must_use]
    pub fn visits(&self, begins: &dyn Fn(usize) -> usize) -> Vec<Self> {
        let (mut frozen, now): (Vec<GroupWork>, Vec<GroupWork>) =
            self.groups.iter().cloned().partition(|group| group.solid);
        frozen.sort_by_key(|group| group.thaws_on);
        let mut visits: Vec<Vec<GroupWork>> = Vec::new();
        for group in frozen {
            let waits = |visit: &&mut Vec<GroupWork>| {
                let day = visit.iter().map(|known| known.thaws_on).max().unwrap_or(0);
                let same_day = day > 0 && begins(day) == begins(group.thaws_on);
                let vague = day > VAGUE_FROM;
                same_day
                    || vague
                    || day > 0
                        && visit
                            .iter()
                            .all(|known| known.last_day.is_none_or(|last| last >= group.thaws_on))
            };
            match visits.last_mut().filter(waits) {
                Some(visit) => visit.push(group),
                None => visits.push(vec![group]),
            }
        }
        if !now.is_empty() {
            visits.insert(0, now);
        }
        visits.into_iter().map(|groups| self.only(groups)).collect()
    }

    /// Is all of it frozen through, with a thaw so far off that nobody can plan by its day?
    #[must_use]
    pub fn thaws_far_off(&self) -> bool {
        let far = |group: &GroupWork| group.solid && group.thaws_on > VAGUE_FROM;
        !self.groups.is_empty() && self.groups.iter().all(far)
    }

    fn only(&self, groups: Vec<GroupWork>) -> Self {
        Self { groups, ..self.clone() }
    }
}

/// Days from which on a day of thaw is too vague to plan two visits by.
const VAGUE_FROM: usize = 7;

/// Looks at the boats of one place.
pub struct BoatLook<'a> {
    passages: Passages<'a>,
    work: &'a WorkTable,
    evenings: &'a Evenings,
    tolerance: Tolerance,
}

impl<'a> BoatLook<'a> {
    /// For one place; `evenings` are the ends of the coming working days.
    #[must_use]
    pub const fn new(
        passages: Passages<'a>,
        work: &'a WorkTable,
        evenings: &'a Evenings,
        tolerance: Tolerance,
    ) -> Self {
        Self { passages, work, evenings, tolerance }
    }

    /// The open work of a boat, whose owner asks to be told from the chance `wish` on.
    ///
    /// # Errors
    /// [`JudgeError`] where a table lacks a row.
    pub fn boat(
        &mut self,
        (boat, state): (&Boat, &BoatState),
        wish: Option<f64>,
    ) -> Result<BoatWork, JudgeError> {
        let tolerance_of_boat = self.tolerance.of_owner(wish);
        let catalogue = self.passages.catalogue();
        let days = self.evenings.0.len();
        let mut fitted: BTreeMap<usize, f64> = BTreeMap::new();
        // What is frozen through is work of its own, for after its thaw.
        let mut drafts: BTreeMap<(usize, Option<usize>), Draft> = BTreeMap::new();
        let mut frozen = Vec::new();
        let members = self.passages.weather().paths.members();
        for circuit in &state.circuits {
            let Some(kind) = catalogue.circuit(&circuit.circuit) else { continue };
            let Some(group) = self.work.group_of(&circuit.circuit, catalogue) else { continue };
            if circuit.holds == Holds::Absent {
                continue;
            }
            *fitted.entry(group).or_default() += kind.drain_minutes;
            let Some(liquid) = circuit.liquid else { continue };
            if !interrupts(circuit, kind, state.afloat) {
                continue;
            }
            let limit = Limit::of(circuit.holds, &liquid);
            let passage = self.passages.of(state, circuit, kind, &liquid, limit)?;
            let thaws = self.thaws(&passage);
            if passage.now != Now::Liquid {
                let runs = passage.now == Now::Ice;
                let known = frozen.iter().any(|known: &FrozenCircuit| known.label == kind.label);
                let within = thaws.filter(|(day, _)| *day < days);
                if !known {
                    let thaws = within.map(|(_, at)| at);
                    frozen.push(FrozenCircuit { label: kind.label.clone(), runs, thaws });
                }
                // Frozen through until the end of the days: there is nothing to be done about it but to look.
                if !runs && within.is_none() {
                    continue;
                }
            }
            let damage = self.damage_days(&passage.hours);
            let consequence = kind.consequence_when(state.afloat);
            // Antifreeze that holds through all days is no work; where it may not, it is.
            let holds = matches!(circuit.holds, Holds::Blend | Holds::Coolant);
            let tolerance = tolerance_of_boat.of(consequence);
            let is_liquid = passage.now == Now::Liquid;
            if holds && is_liquid && last_day_at(&shares(&damage, days), tolerance).is_none() {
                continue;
            }
            let harm_in_h = hour_over(&passage.hours, tolerance);
            let over_in_h = if passage.now == Now::Ice { Some(0) } else { harm_in_h };
            let pressing = Pressing {
                loss: self.work.loss(consequence),
                tolerance,
                over_in_h,
                // Nobody is called out of bed for small parts.
                harm_in_h: harm_in_h.filter(|_| consequence > Consequence::Minor),
                ice: passage.now == Now::Ice,
                solid: thaws.filter(|_| passage.now == Now::Solid),
            };
            let entry = self.work.entry_on(&boat.kind, kind, circuit.holds, state.for_deeds());
            drafts
                .entry((group, pressing.solid.map(|(day, _)| day)))
                .or_insert_with(|| Draft::new(members, days))
                .add(
                    (circuit, kind),
                    damage,
                    pressing,
                    (
                        self.work.is_dosed(group, &circuit.circuit),
                        self.work.is_flushed(group, &circuit.circuit, catalogue),
                        entry.as_ref(),
                    ),
                );
        }
        let groups = drafts
            .into_iter()
            .filter_map(|((place, _), draft)| {
                let all = fitted.get(&place).copied().unwrap_or(0.0);
                draft.finish(boat, self.work, place, all, days)
            })
            .collect();
        Ok(BoatWork {
            boat: boat.id.clone(),
            place: state.site.clone(),
            groups,
            frozen,
            asked_for: (tolerance_of_boat != self.tolerance).then_some(tolerance_of_boat.severe),
            days,
            members,
        })
    }

    /// When half of all members have thawed, and the day by whose evening; `None` where nothing is frozen, or never.
    fn thaws(&self, passage: &Passage) -> Option<(usize, DateTime<Utc>)> {
        let mut hours: Vec<u16> = passage.thaws.iter().filter_map(|hour| *hour).collect();
        hours.sort_unstable();
        let hour = *hours.get(passage.thaws.len() / 2)?;
        let at = self.passages.weather().at + TimeDelta::hours(i64::from(hour) + 1);
        Some((self.evenings.day_of(at), at))
    }

    fn damage_days(&self, hours: &[Option<u16>]) -> DamageDays {
        let at = self.passages.weather().at;
        hours
            .iter()
            .map(|hour| {
                hour.map_or(NEVER, |hour| {
                    let day = self.evenings.day_of(at + TimeDelta::hours(i64::from(hour)));
                    u8::try_from(day).unwrap_or(NEVER - 1)
                })
            })
            .collect()
    }
}
