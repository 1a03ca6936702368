//! Sums over the list of work: what falls due, who comes late, what to order, what may break.

use std::collections::BTreeMap;

use crate::app::planning::evening::shares;
use crate::app::planning::row::Row;
use crate::app::settings::crew::CrewSettings;
use crate::domain::boat::BoatId;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::crew::WorkDay;
use crate::domain::risk::plan::due::{MustStart, fewest_late, must_start, needed_a_day};
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::schedule::Scarce;
use crate::domain::risk::plan::tail::{DamageDays, NEVER, Tail, tail};

/// Chances of so many damaged boats are shown.
const AT_LEAST: [usize; 3] = [1, 5, 20];
/// Days whose product is ordered at once.
const WEEK: usize = 7;

/// The check of due days for the crew as a whole, or for a skill that few have where that is harder to meet.
pub(crate) fn check(
    settings: &CrewSettings,
    rows: &[Row],
    capacity: &[u32],
    (days, scarce): (&[WorkDay], &[Scarce]),
) -> (MustStart, Option<String>) {
    let shares = shares(days);
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
        let must = of(&|group| asks_for(settings, group, thing), &thing.has);
        if hardness(&must) > hardness(&hardest.0) {
            hardest = (must, Some(thing.what.clone()));
        }
    }
    hardest
}

/// Does a group of circuits ask for this skill?
pub(crate) fn asks_for(settings: &CrewSettings, group: &GroupWork, thing: &Scarce) -> bool {
    settings.skills_needed.get(&group.group) == Some(&thing.what)
}

/// Litres of product for the complete lay-ups of the coming week.
pub(crate) fn to_order(rows: &[Row]) -> BTreeMap<String, f64> {
    let mut order = BTreeMap::new();
    for row in rows.iter().filter(|row| row.done_on.is_some_and(|day| day < WEEK)) {
        let products = |group: &'_ GroupWork| -> Vec<(String, f64)> {
            group.product.iter().chain(&group.besides).cloned().collect()
        };
        for (product, litres) in row.work.within(Scope::Complete).flat_map(products) {
            *order.entry(product).or_default() += litres;
        }
    }
    order
}

/// What the emergency drains that have a day of their own spare of the list's loss.
pub(crate) fn spared(rows: &[Row], equal: bool) -> f64 {
    let one = |row: &Row| {
        let dated = row.drains().into_iter().find(|(scope, _)| Some(*scope) != row.drained())?;
        Some(row.work.spared_by(row.drained(), dated, row.done_on, equal))
    };
    rows.iter().filter_map(one).sum()
}

/// The first day on which work falls due.
pub(crate) fn first_due(rows: &[Row]) -> Option<usize> {
    rows.iter().flat_map(|row| row.pieces_of(|_| true)).map(|(_, due)| due).min()
}

/// Boat by boat, whatever the number of visits.
pub(crate) fn tails(rows: &[Row]) -> (Tail, Tail) {
    let earlier = |known: &mut DamageDays, days: DamageDays, done_on: Option<usize>| {
        let until = done_on.map_or(NEVER - 1, |day| u8::try_from(day).unwrap_or(NEVER - 1));
        for (known, day) in known.iter_mut().zip(days) {
            *known = if day <= until { (*known).min(day) } else { *known };
        }
    };
    let mut with: BTreeMap<&BoatId, DamageDays> = BTreeMap::new();
    let mut without: BTreeMap<&BoatId, DamageDays> = BTreeMap::new();
    for row in rows {
        let drains = row.drains();
        let after = row.work.damage_after(&drains);
        let none = || vec![NEVER; after.len()];
        let known = with.entry(&row.boat.id).or_insert_with(none);
        earlier(known, row.work.damage_barred(&drains), None);
        earlier(known, after.clone(), row.done_on);
        let known = without.entry(&row.boat.id).or_insert_with(none);
        earlier(known, row.work.damage_after(&[]), None);
    }
    let count = |boats: &BTreeMap<&BoatId, DamageDays>| {
        let boats: Vec<_> = boats.values().map(|days| (days, None)).collect();
        tail(&boats, &AT_LEAST)
    };
    (count(&with), count(&without))
}

/// Boats that cannot be laid up completely in time, at the least (Moore 1968 on one pooled crew): of each only the work that
/// falls due first is asked for.
pub(crate) fn late(rows: &[Row], capacity: &[u32], asked: impl Fn(&GroupWork) -> bool) -> usize {
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
