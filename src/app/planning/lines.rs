//! The plan in single lines, for the morning's letter: tonight's round and today's complete lay-ups.

use std::collections::{BTreeMap, BTreeSet};

use crate::app::planning::{Outside, RoundCrew, Row, YardPlan};
use crate::domain::boat::{BoatId, DrainPermission, SiteId};
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::tonight::Stop;
use crate::domain::risk::plan::words::{boats, in_words};
use crate::domain::units::work_time;

/// Days within which a start has to stand in the subject.
const WEEK: usize = 7;
/// Lines of each kind that a letter carries; what is more stands in the plan.
const LINES_MAX: usize = 15;

/// What is to be asked before somebody goes aboard; empty where nothing.
#[must_use]
pub const fn permission(row: &Row) -> &'static str {
    match row.boat.drain_permission {
        DrainPermission::Yes => "",
        DrainPermission::No => "ask the owner first",
        DrainPermission::NotApplicable => "the owner's own work",
        DrainPermission::Unknown => "permission not on record: ask",
    }
}

/// What is to be asked before somebody goes aboard, and the code of the place where the key hangs.
#[must_use]
pub fn aboard(row: &Row) -> String {
    let key = row.boat.key_code().map(|code| format!("key {code}"));
    let ask = Some(permission(row)).filter(|ask| !ask.is_empty()).map(str::to_owned);
    [ask, key].into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// How pressing a stop of tonight's round is; empty where it only has to be done by the evening.
#[must_use]
pub fn pressing(row: &Row, stop: &Stop) -> &'static str {
    match (stop.early, stop.late) {
        (true, true) => return "CALL SOMEBODY IN NOW, MAY FREEZE BEFORE",
        (true, false) => return "CALL SOMEBODY IN NOW, before work begins",
        (false, _) => {}
    }
    if stop.after_hours {
        return "SOMEBODY THERE WHEN IT THAWS: TEST FIRST, THEN DRAIN";
    }
    if row.urgent.is_some_and(|scope| row.work.within(scope).any(|group| group.solid)) {
        return "NOT BEFORE IT HAS THAWED AND BEEN TESTED";
    }
    let ice = row.urgent.is_some_and(|scope| row.work.within(scope).any(|group| group.ice));
    match (ice, stop.late) {
        (true, _) => "ICE HAS BEGUN",
        (false, true) => "MAY FREEZE BEFORE",
        (false, false) => "",
    }
}

/// Whose hours the round takes, where they are not the crew's of today, and whether they are hours of daylight.
#[must_use]
pub fn hands(plan: &YardPlan) -> &'static str {
    let dark = || plan.days.first().is_some_and(|today| plan.crew.is_dark_on(today.date));
    match plan.hands {
        RoundCrew::OnRoster if dark() => {
            "The sun does not rise today: by lamp, two together; nobody alone on a ladder."
        }
        RoundCrew::OnRoster => "",
        RoundCrew::DayOver => {
            "Today's hours are over: somebody has to stay or come back. After dark two people, with lamps; nobody alone on a ladder."
        }
        RoundCrew::Nobody => {
            "Nobody is on the roster today: call somebody in for these, two together after dark."
        }
    }
}

/// What is said above the owners' boats that press.
pub const OWNERS: &str =
    "Owners' own, due by the next working day or in ice, not confirmed: call, or drain with leave";

/// The owners' boats that press, at the places that `own` names, a line each.
#[must_use]
pub fn owners(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> Vec<String> {
    let pressing = plan.owners_tonight().filter(|row| own(&row.work.place));
    let line = |row: &Row| {
        let scope = row.urgent?;
        let what: Vec<String> = row.work.within(scope).map(GroupWork::doing).collect();
        let ice = row.work.within(scope).any(|group| group.ice);
        let mark = if ice { ", ICE HAS BEGUN" } else { "" };
        let minutes = work_time(row.work.minutes(scope));
        let line = with_permission(format!("{}, {minutes}{mark}", boat(row)), row);
        Some(format!("{line}: {}", what.join("; ")))
    };
    pressing.filter_map(line).collect()
}

/// Boats of tonight's round that thaw only after the day's hours.
#[must_use]
pub fn after_hours(plan: &YardPlan) -> usize {
    let stops = plan.tonight.iter().flat_map(|round| &round.stops);
    stops.filter(|stop| stop.after_hours).count()
}

/// How two parties would get round to all of it, where everybody together does not; empty where they would not either.
#[must_use]
pub fn parties(plan: &YardPlan) -> String {
    let Some((one, other)) = plan.tonight.as_ref().and_then(|round| round.parties.as_ref()) else {
        return String::new();
    };
    let names =
        |places: &[SiteId]| places.iter().map(SiteId::as_str).collect::<Vec<_>>().join(" and ");
    format!("In two parties all of it fits: one to {}, one to {}. ", names(one), names(other))
}

/// Boats of tonight's round that do not fit.
#[must_use]
pub fn left_over(plan: &YardPlan) -> Vec<&Row> {
    let rows = plan.tonight.iter().flat_map(|round| &round.left_over);
    rows.filter_map(|row| plan.rows.get(*row)).collect()
}

/// The stops of tonight's round at the places that `own` names, in walking order: `08:29 QUAY Row D-2: B05 Old Lamplighter,
/// 41 min: drain ...`.
#[must_use]
pub fn round(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> Vec<String> {
    let stops = plan.tonight.iter().flat_map(|round| &round.stops);
    let stops = stops.filter_map(|stop| {
        let row = plan.rows.get(stop.job).filter(|row| own(&row.work.place))?;
        let scope = row.urgent?;
        let what: Vec<String> = row.work.within(scope).map(GroupWork::doing).collect();
        let clock = plan.done_at(stop).with_timezone(&plan.crew.zone).format("%H:%M");
        let minutes = work_time(row.work.minutes(scope));
        let mark = match pressing(row, stop) {
            "" => String::new(),
            mark => format!(", {mark}"),
        };
        // Leave and key before the work: a long line may be cut at its end.
        let line = with_permission(format!("{clock} {}, {minutes}{mark}", boat(row)), row);
        Some(format!("{line}: {}", what.join("; ")))
    });
    let mut lines = shortened(stops.collect());
    let left: Vec<String> = left_over(plan)
        .into_iter()
        .filter(|row| own(&row.work.place))
        .map(|row| format!("{} {}", row.boat.id, row.boat.name))
        .collect();
    if !left.is_empty() {
        lines.push(format!(
            "DOES NOT FIT into today's hours: {}. {}Call for hands, or ask these owners",
            shortened(left).join(", "),
            parties(plan)
        ));
    }
    let owners = owners(plan, own);
    if !owners.is_empty() {
        lines.push(format!("{OWNERS}:"));
        lines.extend(shortened(owners));
    }
    lines
}

/// Boats and minutes of tonight's round at the places that `own` names, with what does not fit; empty where there is nothing.
#[must_use]
pub fn round_work(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> String {
    let stops = plan.tonight.iter().flat_map(|round| &round.stops);
    let rows = stops.filter_map(|stop| plan.rows.get(stop.job)).chain(left_over(plan));
    let rows: Vec<&Row> = rows.filter(|row| own(&row.work.place)).collect();
    if rows.is_empty() {
        return String::new();
    }
    let named: BTreeSet<&BoatId> = rows.iter().map(|row| &row.boat.id).collect();
    let minutes = rows.iter().map(|row| row.urgent.map_or(0, |scope| row.work.minutes(scope)));
    format!("{}, {}", boats(named.len()), work_time(minutes.sum()))
}

/// Jobs that ask for a skill which nobody of the crew has, at the places that `own` names, a line each.
#[must_use]
pub fn outside(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> Vec<String> {
    let site = |one: &&Outside| {
        let row = plan.rows.iter().find(|row| row.boat.id == one.boat.id);
        row.is_none_or(|row| own(&row.work.place))
    };
    let line = |one: &Outside| {
        let due = one.group.last_day.and_then(|day| plan.date(day));
        format!(
            "{}: {} {}: {} {}, {}, {} min{}",
            one.skill,
            one.at.0,
            one.at.1,
            one.boat.id,
            one.boat.name,
            one.group.label,
            one.group.minutes.complete,
            due.map_or_else(String::new, |day| format!(", by {}", in_words(day)))
        )
    };
    shortened(plan.outside.iter().filter(site).map(line).collect())
}

/// What of the plan has to stand in a letter's subject, for a reader of the places that `own` names; empty where nothing
/// presses within the week.
#[must_use]
pub fn subject(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> String {
    let stops = plan.tonight.iter().flat_map(|round| &round.stops);
    let rows = stops.filter_map(|stop| Some((plan.rows.get(stop.job)?, stop.early)));
    let rows: Vec<(&Row, bool)> = rows.filter(|(row, _)| own(&row.work.place)).collect();
    // A boat may be come to twice, the second time when the rest of it has thawed.
    let distinct = |early: bool| {
        let of = rows.iter().filter(|(_, is_early)| *is_early || !early);
        of.map(|(row, _)| &row.boat.id).collect::<BTreeSet<_>>().len()
    };
    let early = distinct(true);
    let left = left_over(plan).into_iter().filter(|row| own(&row.work.place)).count();
    if early > 0 {
        let who = match plan.early_people {
            Some(Some(people)) if people > 2 => format!("call {people} people in"),
            _ => "call somebody in".to_owned(),
        };
        let more = if left > 0 { format!(", {left} do not fit") } else { String::new() };
        return format!("{who} NOW for {}{more}", boats(early));
    }
    if left > 0 {
        return format!("drain {} today, {left} more do not fit", boats(distinct(false)));
    }
    if !rows.is_empty() {
        let minutes =
            rows.iter().map(|(row, _)| row.urgent.map_or(0, |scope| row.work.minutes(scope)));
        let nobody = plan.days.iter().all(|day| day.minutes == 0);
        let who = if nobody { "find hands: " } else { "" };
        let boats = boats(distinct(false));
        return format!("{who}drain {boats} today, {}", work_time(minutes.sum()));
    }
    let owners = plan.owners_tonight().filter(|row| own(&row.work.place)).count();
    if owners > 0 {
        return format!(
            "call the {} of {}",
            if owners == 1 { "owner" } else { "owners" },
            boats(owners)
        );
    }
    let date = |day: Option<usize>| day.and_then(|day| plan.date(day)).map(in_words);
    let must = &plan.must;
    match (must.short_minutes, date(must.binding.last().copied()), must.latest_start) {
        (short, Some(by), _) if short > 0 => {
            format!("crew {} short by {by}", work_time(short))
        }
        (_, Some(_), Some(0)) => "start lay-ups today".to_owned(),
        (_, Some(_), Some(day)) if day <= WEEK => {
            date(Some(day)).map_or_else(String::new, |day| format!("start lay-ups by {day}"))
        }
        _ => String::new(),
    }
}

/// The complete lay-ups that are begun today by the plan, at the places that `own` names.
#[must_use]
pub fn today(plan: &YardPlan, own: &dyn Fn(&SiteId) -> bool) -> Vec<String> {
    let rows = plan.rows.iter().filter(|row| row.listed_on() == Some(0) && own(&row.work.place));
    let line = |row: &Row| {
        let ends = row.done_on.filter(|day| *day > 0).and_then(|day| plan.date(day));
        let ends = ends.map_or_else(String::new, |date| format!(", ends {}", in_words(date)));
        with_permission(format!("{}, {}{ends}", boat(row), work_time(row.crew_minutes)), row)
    };
    shortened(rows.map(line).collect())
}

/// Litres by product, in words.
#[must_use]
pub fn litres(products: &BTreeMap<String, f64>) -> String {
    let parts: Vec<String> =
        products.iter().map(|(name, litres)| format!("{litres:.1} L {name}")).collect();
    parts.join(", ")
}

fn boat(row: &Row) -> String {
    let place = row.place();
    let at = [place.as_str(), row.location()].join(" ");
    format!("{}: {} {}", at.trim_end(), row.boat.id, row.boat.name)
}

fn with_permission(line: String, row: &Row) -> String {
    match aboard(row).as_str() {
        "" => line,
        words => format!("{line} ({words})"),
    }
}

fn shortened(mut lines: Vec<String>) -> Vec<String> {
    let more = lines.len().saturating_sub(LINES_MAX);
    if more > 0 {
        lines.truncate(LINES_MAX);
        lines.push(format!("and {more} more: rimeward plan"));
    }
    lines
}
