//! Tonight's round: which boats cannot wait for the next working day, or whose drains must begin today because there are
//! too many of them, what of that fits, by when, and what to carry.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Datelike, TimeDelta, Utc, Weekday};

use crate::app::assess::Assessment;
use crate::app::planning::row::Row;
use crate::app::settings::crew::Objective;
use crate::domain::boat::SiteId;
use crate::domain::risk::plan::Job;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::crew::{Crew, WorkDay};
use crate::domain::risk::plan::due::latest_starts;
use crate::domain::risk::plan::tonight::{Errand, Evening, Round, Stop, at_the_thaw, best_round};

/// Whose hours the evening's round takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RoundCrew {
    /// The crew's, of today.
    OnRoster,
    /// It is a working day, but its hours are over.
    DayOver,
    /// Nobody works today.
    Nobody,
}

/// The round and what goes with it.
pub(crate) struct Tonight {
    pub round: Option<Round>,
    pub hands: RoundCrew,
    /// When it begins, and how many work on it.
    pub begins: (DateTime<Utc>, u32),
    /// Minutes of the crew's day that it takes, ways included.
    pub takes_min: u32,
    /// Litres by product.
    pub cart: BTreeMap<String, f64>,
    /// Where somebody is called in before work begins: how many people would be in time everywhere; `None` where not even
    /// a pair for each boat would.
    pub early_people: Option<Option<u32>>,
}

/// Who is called in before work begins: two together, it is dark.
pub(crate) const CALLED: u32 = 2;
/// From the call until somebody stands in the yard: common practice, no source.
pub(crate) const CALL_IN: TimeDelta = TimeDelta::minutes(30);
/// How often days and ways are settled against each other.
const WAYS_SETTLED: usize = 3;
/// Harm so long after work begins may still be before the crew gets there.
const LATE_CALL: TimeDelta = TimeDelta::hours(4);

/// Chooses the round and marks its rows; their work is seen as drained from then on.
pub(crate) fn evening(
    objective: Objective,
    seen: &Assessment,
    crew: &Crew,
    (days, capacity): (&[WorkDay], &[u32]),
    rows: &mut [Row],
) -> Tonight {
    let at = seen.instant.at;
    let today = capacity.first().copied().unwrap_or(0);
    let anybody = capacity.iter().any(|minutes| *minutes > 0);
    let hands = match days.first() {
        _ if today > 0 => RoundCrew::OnRoster,
        Some(day) if anybody && crew.works_on(day.date) && at >= day.evening => RoundCrew::DayOver,
        _ => RoundCrew::Nobody,
    };
    let begins = begins(at, days, hands, today);
    let next = next_working_day(&calendar(days));
    let equal = objective == Objective::FewestBoats;
    for row in rows.iter_mut().filter(|row| row.in_round) {
        row.in_round = false;
        row.set_job(equal);
    }
    let (watched, due): (Vec<usize>, Vec<usize>) = (0..rows.len())
        .filter(|row| rows.get(*row).is_some_and(|row| row.urgent.is_some()))
        .partition(|row| rows.get(*row).is_some_and(Row::is_watched));
    let mut tonight = Tonight {
        round: None,
        hands,
        begins,
        takes_min: 0,
        cart: BTreeMap::new(),
        early_people: None,
    };
    if due.is_empty() && watched.is_empty() {
        return tonight;
    }
    // Until then nobody else is there: what freezes before goes by the hour.
    let until = match hands {
        RoundCrew::OnRoster => days.first().map(|day| day.evening),
        _ => days.get(next).map(|day| day.opens),
    };
    let way = |id: &SiteId| way_of(seen, id);
    let minutes_left = (hands == RoundCrew::OnRoster).then_some(today);
    let by_crew = Evening { minutes_left, next, people: begins.1, way: &way };
    let errands = |rows: &[Row], which: &[usize], begins, until, harm: bool| -> Vec<Errand> {
        let rows = which.iter().filter_map(|row| rows.get(*row));
        rows.filter_map(|row| errand(row, (at, harm), begins, until)).collect()
    };
    let crew_round = |rows: &[Row], which: &[usize]| {
        best_round(&errands(rows, which, begins, until, false), &by_crew).renamed(which)
    };
    let mut found = crew_round(rows, &due);
    let opens = days.first().map(|day| day.opens);
    if let Some(opens) = opens.filter(|opens| hands == RoundCrew::OnRoster && at < *opens) {
        let harm = |row: usize| {
            let row = rows.get(row)?;
            Some(at + TimeDelta::hours(i64::from(row.work.harm_in_h(row.urgent?)?)))
        };
        let clock = |stop: &Stop| {
            let minutes = stop.done_after_min.div_ceil(begins.1.max(1)) + stop.ways_min;
            begins.0 + TimeDelta::minutes(i64::from(minutes))
        };
        // Whom the crew would reach only after harm that cannot be mended, is gone to at once.
        let late =
            found.stops.iter().filter(|stop| harm(stop.job).is_some_and(|h| h < clock(stop)));
        let left = found.left_over.iter().filter(|row| harm(**row).is_some_and(|h| h < opens));
        // Nobody is called now for what thaws only once the crew is there.
        let thaws = |row: &usize| {
            let groups = rows.get(*row).into_iter().flat_map(|row| &row.work.groups);
            let own = groups.filter(|group| group.thaws_on == 0);
            own.filter_map(|group| group.thaws_at).max().is_some_and(|thaws| thaws >= opens)
        };
        let early = late.map(|stop| stop.job).chain(left.copied());
        let mut early: Vec<usize> = early.filter(|row| !thaws(row)).collect();
        early.sort_unstable();
        if !early.is_empty() {
            let called = |people| {
                let evening = Evening { minutes_left: None, people, ..by_crew };
                let own =
                    errands(rows, &early, (at + CALL_IN, people), Some(opens + LATE_CALL), true);
                best_round(&own, &evening).renamed(&early)
            };
            let enough = |people: &u32| called(*people).stops.iter().all(|stop| !stop.late);
            // Pairs on boats of their own: more than that stand in each other's way.
            let most = u32::try_from(early.len()).unwrap_or(1).saturating_mul(CALLED).max(CALLED);
            tonight.early_people = Some((CALLED..=most).step_by(2).find(enough));
            let mut first = called(CALLED);
            // Who would be reached only when the crew is there stays with the crew.
            first.stops.retain(|stop| {
                let before = stop.done_after_min.saturating_sub(stop.minutes).div_ceil(CALLED);
                at + CALL_IN + TimeDelta::minutes(i64::from(before + stop.ways_min)) < opens
            });
            let is_called = |row: &usize| first.stops.iter().any(|stop| stop.job == *row);
            let rest: Vec<usize> = due.iter().copied().filter(|row| !is_called(row)).collect();
            found = crew_round(rows, &rest).after(first);
        }
    }
    let thaws = errands(rows, &watched, begins, until, false);
    let mut at_thaws = at_the_thaw(&thaws, &by_crew);
    for stop in &mut at_thaws {
        stop.job = watched.get(stop.job).copied().unwrap_or(usize::MAX);
    }
    found = found.then(at_thaws);
    for stop in &found.stops {
        let Some(row) = rows.get_mut(stop.job) else { continue };
        row.in_round = true;
        row.set_job(equal);
        let Some(scope) = row.urgent else { continue };
        load(&mut tonight.cart, row, scope);
    }
    if hands == RoundCrew::OnRoster {
        let last = found.within_hours().next_back();
        let ways = last.map_or(0, |stop| {
            let back = rows.get(stop.job).map_or(0, |row| way(&row.place()) / 2);
            stop.ways_min.saturating_add(back)
        });
        tonight.takes_min = found.work_min() + ways.saturating_mul(begins.1);
        // What is left of a day that is too short for the drains is no time for complete lay-ups.
        if !found.left_over.is_empty() {
            tonight.takes_min = tonight.takes_min.max(today);
        }
    }
    tonight.round = Some(found);
    tonight
}

/// Minutes to a place and back.
pub(crate) fn way_of(seen: &Assessment, place: &SiteId) -> u32 {
    seen.places.get(place).map_or(0, |place| whole(2.0 * place.site.travel_minutes))
}

/// Puts on the cart what the emergency drain of a row takes.
pub(crate) fn load(cart: &mut BTreeMap<String, f64>, row: &Row, scope: Scope) {
    for (product, litres) in row.work.within(scope).flat_map(|group| &group.doses) {
        *cart.entry(product.clone()).or_default() += litres;
    }
}

/// From when on, and by how many people at once: whoever is called has to come first, and comes with another.
fn begins(
    at: DateTime<Utc>,
    days: &[WorkDay],
    hands: RoundCrew,
    today: u32,
) -> (DateTime<Utc>, u32) {
    let Some(day) = days.first().filter(|_| hands == RoundCrew::OnRoster) else {
        return (at + CALL_IN, CALLED);
    };
    let begins = at.max(day.opens);
    let lasts = u32::try_from((day.evening - begins).num_minutes().max(1)).unwrap_or(u32::MAX);
    (begins, ((today + lasts / 2) / lasts).max(1))
}

/// A day of somebody who would have to be found, minutes.
const FOUND_DAY_MIN: u32 = 480;

/// The minutes of each day by which drains are dated. Where the crew has none at all, somebody has to be found for them, on
/// the days on which people work: a yard without a crew has no more time than one with it.
pub(crate) fn calendar(days: &[WorkDay]) -> Vec<u32> {
    if days.iter().any(|day| day.minutes > 0) {
        return days.iter().map(|day| day.minutes).collect();
    }
    let minutes = |share: f64| if share > 0.0 { FOUND_DAY_MIN } else { 0 };
    shares(days).into_iter().map(minutes).collect()
}

/// What part of a working day is left of each day. Where the yard names no working days at all, those of the trade: Monday to
/// Friday.
pub(crate) fn shares(days: &[WorkDay]) -> Vec<f64> {
    let any = days.iter().any(|day| day.share > 0.0);
    let usual = |day: &WorkDay| match day.date.weekday() {
        Weekday::Sat | Weekday::Sun => 0.0,
        _ => 1.0,
    };
    days.iter().map(|day| if any { day.share } else { usual(day) }).collect()
}

/// Marks what falls due before the next working day's evening.
pub(crate) fn mark_urgent(rows: &mut [Row], calendar: &[u32]) {
    let soon = Scope::Emergency(next_working_day(calendar).saturating_sub(1));
    for row in rows.iter_mut() {
        row.urgent = (row.work.minutes(soon) > 0).then_some(soon);
    }
}

/// An emergency drain that is asked for.
struct Asked {
    row: usize,
    scope: Scope,
    minutes: u32,
    due: usize,
    /// Where, and the minutes there and back.
    place: SiteId,
    way: u32,
}

/// Where complete lay-ups end too late by the list: the emergency drains that keep them, and the day on which each must begin
/// so that all of them are done in time, `way` to each place included. Those that must begin before the next working day are
/// marked urgent; answers whether there are any that were not.
pub(crate) fn ask_for_drains(
    rows: &mut [Row],
    capacity: &[u32],
    way: &dyn Fn(&SiteId) -> u32,
) -> bool {
    let next = next_working_day(capacity);
    let late: Vec<Asked> = rows
        .iter()
        .enumerate()
        .filter(|(_, row)| row.is_late() || row.minutes == 0 && row.due.is_some())
        .filter_map(|(number, row)| {
            let until = row.done_on.unwrap_or(capacity.len()).saturating_sub(1);
            let scope = Scope::Emergency(until);
            let open = || row.work.within(scope).filter(|group| !row.is_drained_tonight(group));
            let due = open().filter_map(|group| group.last_day).min()?;
            let minutes = open().map(|group| group.minutes.emergency).sum();
            let place = row.place();
            let way = way(&place);
            Some(Asked { row: number, scope, minutes, due, place, way })
        })
        .collect();
    for row in rows.iter_mut() {
        row.drain_by = None;
    }
    let mut more = false;
    for (asked, (start, takes)) in late.iter().zip(starts_with_ways(&late, capacity)) {
        let Some(row) = rows.get_mut(asked.row) else { continue };
        row.drain_by = Some((start, asked.scope));
        row.drain_takes_min = takes;
        if start < next && row.urgent != Some(asked.scope) {
            row.urgent = Some(asked.scope);
            more = true;
        }
    }
    more
}

/// The day on which each drain must begin, and its minutes: the first of a place on a day has the way there and back in it.
fn starts_with_ways(late: &[Asked], capacity: &[u32]) -> Vec<(usize, u32)> {
    let mut order: Vec<usize> = (0..late.len()).collect();
    order.sort_by_key(|at| late.get(*at).map(|asked| asked.due));
    // At first, all of a place that fall due together go there together.
    let mut days: Vec<usize> = late.iter().map(|asked| asked.due).collect();
    let mut found = Vec::new();
    for pass in 0..WAYS_SETTLED {
        let mut gone: BTreeSet<(usize, &SiteId)> = BTreeSet::new();
        let mut work: Vec<(u32, usize)> = vec![(0, 0); late.len()];
        for at in &order {
            let (Some(asked), Some(day)) = (late.get(*at), days.get(*at)) else { continue };
            let way = if gone.insert((*day, &asked.place)) { asked.way } else { 0 };
            if let Some(slot) = work.get_mut(*at) {
                *slot = (asked.minutes.saturating_add(way), asked.due);
            }
        }
        let starts = latest_starts(&work, capacity).into_iter().map(|start| start.unwrap_or(0));
        let settled: Vec<(usize, u32)> =
            starts.zip(work.iter().map(|(minutes, _)| *minutes)).collect();
        days = settled.iter().map(|(start, _)| *start).collect();
        // Where it does not settle, the earlier day and the longer work are the safe ones.
        for ((start, minutes), (known, longest)) in settled.iter().zip(&mut found) {
            (*known, *longest) = ((*start).min(*known), (*minutes).max(*longest));
        }
        if found.is_empty() || pass == 1 {
            found = settled;
        }
    }
    found
}

/// `harm`: by the hour of harm that cannot be mended, instead of that of the limit.
fn errand(
    row: &Row,
    (at, harm): (DateTime<Utc>, bool),
    (begins, people): (DateTime<Utc>, u32),
    until: Option<DateTime<Utc>>,
) -> Option<Errand> {
    let scope = row.urgent?;
    let hours = if harm { row.work.harm_in_h(scope) } else { row.work.over_in_h(scope) };
    let over = hours.map(|hours| at + TimeDelta::hours(i64::from(hours)));
    let minutes = |time: DateTime<Utc>| {
        let minutes = (time - begins).num_minutes().max(0);
        u32::try_from(minutes).unwrap_or(u32::MAX).saturating_mul(people)
    };
    let thaws = row.work.within(scope).filter_map(|group| group.thaws_at).max();
    let within = over.filter(|over| until.is_none_or(|until| *over < until)).map(minutes);
    let job = row.work.job(scope, row.work.minutes(scope), false);
    Some(Errand {
        job: Job { place: row.place(), ..job },
        within_min: within,
        after_min: thaws.map_or(0, minutes),
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

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(row: usize, place: &str, way: u32, due: usize) -> Asked {
        let scope = Scope::Emergency(due);
        Asked { row, scope, minutes: 15, due, place: place.into(), way }
    }

    #[test]
    fn a_dated_drain_has_its_way_in_it_once_for_a_place_and_day() {
        let late = [asked(0, "UPPER", 50, 3), asked(1, "UPPER", 50, 3), asked(2, "QUAY", 0, 3)];
        let found = starts_with_ways(&late, &[480; 5]);
        let minutes: Vec<u32> = found.iter().map(|(_, minutes)| *minutes).collect();
        assert_eq!(minutes, [65, 15, 15]);
        // Half an hour a day: the way alone takes most of two.
        let found = starts_with_ways(&late[..1], &[30; 5]);
        assert_eq!(found, [(1, 65)]);
    }

    #[test]
    fn a_yard_without_hours_has_no_more_days_to_drain_on_than_one_with_a_crew() {
        let day = |date: &str, minutes, share| WorkDay {
            date: date.parse().unwrap(),
            minutes,
            opens: DateTime::UNIX_EPOCH,
            evening: DateTime::UNIX_EPOCH,
            share,
        };
        let dates = ["2022-10-28", "2022-10-29", "2022-10-30", "2022-10-31"];
        let no_hours: Vec<WorkDay> = dates.iter().map(|date| day(date, 0, 0.0)).collect();
        assert_eq!(next_working_day(&calendar(&no_hours)), 3, "Friday waits for Monday");
        let all_away: Vec<WorkDay> = dates
            .iter()
            .zip([0.5, 0.0, 0.0, 1.0])
            .map(|(date, share)| day(date, 0, share))
            .collect();
        assert_eq!(calendar(&all_away), [480, 0, 0, 480]);
        let one = [day(dates[0], 60, 0.5), day(dates[1], 0, 0.0)];
        assert_eq!(calendar(&one), [60, 0]);
    }
}
