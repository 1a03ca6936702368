//! The plan in words.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::below;
use super::beside::{grounds, others, thaw_in_words};
use super::permission;
use crate::app::planning::lines::{self, litres};
use crate::app::planning::{RoundCrew, Row, WhatIf, YardPlan};
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::tonight::Round;
use crate::domain::risk::plan::words::{boats, in_words as date_in_words};
use crate::domain::units::work_time;

/// The whole plan for a screen.
pub(super) fn in_words(plan: &YardPlan, what_if: &WhatIf) -> String {
    let mut out = String::new();
    if *what_if != WhatIf::default() {
        let _ = writeln!(out, "What if: {}\n", supposed(what_if));
    }
    let _ = writeln!(out, "{}\n", plan.headline);
    tonight(plan, &mut out);
    list(plan, &mut out);
    for line in below::lines(plan) {
        let _ = writeln!(out, "{line}");
    }
    if !plan.rows.is_empty() {
        out.push('\n');
    }
    out += &others(plan);
    grounds(plan, &mut out);
    out
}

/// What is supposed, in words; empty where nothing is.
pub(super) fn supposed(what_if: &WhatIf) -> String {
    let mut parts = Vec::new();
    if let Some(hours) = what_if.crew_hours {
        let plural = if hours == 1.0 { "" } else { "s" };
        parts.push(format!("{hours} crew hour{plural} each working day"));
    }
    if !what_if.without.is_empty() {
        parts.push(format!("without {}", what_if.without.join(" and ")));
    }
    if what_if.colder_k != 0.0 {
        let how = if what_if.colder_k < 0.0 { "warmer" } else { "colder" };
        parts.push(format!("{} K {how} than forecast", what_if.colder_k.abs()));
    }
    if let Some(share) = what_if.tolerance {
        parts.push(format!("a tolerance of {} %", share * 100.0));
    }
    parts.join(", ")
}

fn tonight(plan: &YardPlan, out: &mut String) {
    if plan.tonight.is_none() && plan.owners_tonight().next().is_some() {
        let _ = writeln!(out, "TONIGHT: nothing of the crew's own");
    }
    if let Some(round) = &plan.tonight {
        the_round(plan, round, out);
    }
    let owners: Vec<String> = lines::owners(plan, &|_| true);
    if !owners.is_empty() {
        let _ = writeln!(out, "  {}:", lines::OWNERS);
        for line in &owners {
            let _ = writeln!(out, "    [ ] {line}");
        }
    }
    if plan.tonight.is_some() || !owners.is_empty() {
        if !plan.cart.is_empty() {
            let _ = writeln!(out, "  On the cart: {}", litres(&plan.cart));
        }
        let _ = writeln!(out, "  Can wait past tonight: {}\n", boats(can_wait(plan)));
    }
}

/// Boats with open work of which nothing presses tonight.
fn can_wait(plan: &YardPlan) -> usize {
    let open = || plan.rows.iter().chain(&plan.owners);
    let pressing: BTreeSet<&str> =
        open().filter(|row| row.urgent.is_some()).map(|row| row.boat.id.as_str()).collect();
    let waiting: BTreeSet<&str> = plan
        .rows
        .iter()
        .map(|row| row.boat.id.as_str())
        .filter(|boat| !pressing.contains(boat))
        .collect();
    waiting.len()
}

fn the_round(plan: &YardPlan, round: &Round, out: &mut String) {
    let _ = writeln!(
        out,
        "TONIGHT: emergency drains {} (plugs, hose, probe; the full job later)",
        match plan.hands {
            RoundCrew::OnRoster => "before dark",
            RoundCrew::DayOver | RoundCrew::Nobody => "that cannot wait for the next working day",
        }
    );
    let hands = lines::hands(plan);
    if !hands.is_empty() {
        let _ = writeln!(out, "  {hands}");
    }
    let clock =
        |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&plan.crew.zone).format("%H:%M");
    let early = round.stops.iter().filter(|stop| stop.early).count();
    if early > 0 {
        let _ = writeln!(
            out,
            "  {} BEFORE WORK BEGINS: call somebody in now, two together in the dark{}",
            boats(early),
            match plan.early_people {
                Some(Some(people)) if people > 2 => {
                    format!("; two are too late for some, {people} would be in time")
                }
                Some(None) => "; not even two for each of these boats would be in time everywhere: the marked ones may freeze before".to_owned(),
                _ => String::new(),
            }
        );
    }
    if let Some(last) = round.within_hours().next_back() {
        let (begins, people) = plan.begins;
        let _ = writeln!(
            out,
            "  {}, {} of work{}: from {}{} done about {}",
            boats(round.within_hours().count()),
            work_time(round.work_min()),
            match last.ways_min {
                0 => String::new(),
                ways => format!(" and {} of ways", work_time(ways)),
            },
            clock(begins),
            match (plan.hands, people) {
                (RoundCrew::OnRoster, 1) => " with 1 person".to_owned(),
                (RoundCrew::OnRoster, people) => format!(" with {people} people"),
                (_, people) => format!(" with {people} people who are called in"),
            },
            clock(plan.done_at(last)),
        );
    }
    let after_hours = lines::after_hours(plan);
    if after_hours > 0 {
        let _ = writeln!(
            out,
            "  {} only when {} thawed in the evening or night: somebody stays or comes back for that",
            boats(after_hours),
            if after_hours == 1 { "it has" } else { "they have" },
        );
    }
    let mut place = None;
    for stop in &round.stops {
        let Some(row) = plan.rows.get(stop.job) else { continue };
        let when = (row.place(), stop.early, stop.after_hours);
        if place.as_ref() != Some(&when) {
            let called = match (stop.early, stop.after_hours) {
                (true, _) => ", before work begins",
                (_, true) => ", when it thaws",
                _ => "",
            };
            let _ = writeln!(out, "  {}{called}", row.place());
            place = Some(when);
        }
        let Some(scope) = row.urgent else { continue };
        let what: Vec<String> = row.work.within(scope).map(GroupWork::doing).collect();
        let late = match lines::pressing(row, stop) {
            "" => String::new(),
            mark => format!(" -- {mark}"),
        };
        let ask = lines::aboard(row);
        let _ = writeln!(
            out,
            "    [ ] {} {:12} {} {}, {} min{late}: {}{}",
            clock(plan.done_at(stop)),
            row.location(),
            row.boat.id,
            row.boat.name,
            row.work.minutes(scope),
            what.join("; "),
            if ask.is_empty() { String::new() } else { format!(" -- {ask}") }
        );
    }
    if round.stops.is_empty() {
        let _ =
            writeln!(out, "    nothing fits into what is left of today's crew hours and daylight");
    }
    let rest: Vec<String> = lines::left_over(plan)
        .into_iter()
        .map(|row| format!("{} {}", row.boat.id, row.boat.name))
        .collect();
    if !rest.is_empty() {
        let _ = writeln!(
            out,
            "  Does not fit, {} short: {}. {}Call for hands, or ask these owners.",
            work_time(round.short_min),
            rest.join(", "),
            lines::parties(plan)
        );
    }
}

fn list(plan: &YardPlan, out: &mut String) {
    if plan.rows.is_empty() {
        return;
    }
    let after = match &plan.tonight {
        Some(round) if !round.stops.is_empty() => ", after tonight's drains",
        _ => "",
    };
    let _ = writeln!(out, "THE LIST: complete lay-ups{after}, first to do first");
    let mut day = None;
    for row in plan.rows.iter().filter(|row| row.minutes > 0) {
        let hauled_after = row.listed_on().is_none() && row.begins_on >= plan.days.len();
        if day != Some((row.listed_on(), hauled_after)) {
            day = Some((row.listed_on(), hauled_after));
            let words = match row.listed_on() {
                Some(number) => plan.days.get(number).map_or_else(String::new, |day| {
                    let round = match plan.round_takes_min {
                        taken if number == 0 && taken > 0 => {
                            format!(", {} of it for tonight's drains", work_time(taken))
                        }
                        _ => String::new(),
                    };
                    format!("{} (crew: {}{round})", date_in_words(day.date), work_time(day.minutes))
                }),
                None if hauled_after => "can begin only after the days looked at".into(),
                None => "below the line: does not fit into the days looked at".into(),
            };
            let _ = writeln!(out, "  {words}");
        }
        let due = due_in_words(plan, row);
        let _ = writeln!(
            out,
            "    {} {:16} {:6} {:12} {:>11}  {}",
            row.boat.id,
            row.boat.name,
            row.place().as_str(),
            row.location(),
            work_time(row.crew_minutes),
            [due, reason(plan, row)]
                .iter()
                .filter(|part| !part.is_empty())
                .cloned()
                .collect::<Vec<_>>()
                .join("; ")
        );
        for group in &row.work.groups {
            let due = group.last_day.and_then(|day| plan.date(day));
            let last = match due {
                _ if group.barred.is_some() => {
                    format!("needs {}: nobody of this crew", group.barred.as_deref().unwrap_or(""))
                }
                _ if group.refreezes_first => format!(
                    "frozen, thaws about {} and may freeze again before the crew is back",
                    group.thaws_at.map_or_else(String::new, |at| thaw_in_words(plan, at))
                ),
                Some(day) if group.solid => {
                    format!("frozen, would freeze again after {}", date_in_words(day))
                }
                None if group.solid => "frozen".to_owned(),
                _ if row.is_drained_tonight(group) && group.tested_last.is_some() => {
                    "drained tonight; what is only tested is no safer before its result".to_owned()
                }
                _ if row.is_drained_tonight(group) => "drained tonight".to_owned(),
                _ if group.over_already => "over the tolerance already".to_owned(),
                Some(day) => format!("last day {}", date_in_words(day)),
                None => "no due day yet".to_owned(),
            };
            let product = products(group);
            let product = if product.is_empty() { product } else { format!(", {product}") };
            let _ = writeln!(
                out,
                "         {}: {} min ({} min in an emergency), {last}{product}",
                group.label, group.minutes.complete, group.minutes.emergency
            );
            if !group.asks().is_empty() {
                let _ = writeln!(out, "         before its test counts: {}", group.asks());
            }
            if !group.weak.is_empty() {
                let _ = writeln!(out, "         {}", too_weak(&group.weak));
            }
        }
    }
    out.push('\n');
}

/// Litres and names of what a complete lay-up of a group takes.
pub(super) fn products(group: &GroupWork) -> String {
    let all = group.product.iter().chain(&group.besides);
    all.map(|(name, litres)| format!("{litres} L {name}")).collect::<Vec<_>>().join(", ")
}

/// What is said of antifreeze that does not hold what comes.
fn too_weak(labels: &[String]) -> String {
    let mut labels = labels.to_vec();
    labels.dedup();
    format!(
        "too weak for what comes: {}; measure it, and drain and renew with a stronger one, never top up",
        labels.join(", ")
    )
}

/// By when the complete work must begin and end; after a drain tonight there is no hurry left for what was drained.
pub(super) fn due_in_words(plan: &YardPlan, row: &Row) -> String {
    let date = |day: Option<usize>| day.and_then(|day| plan.date(day)).map(date_in_words);
    match (date(row.due_now()), date(row.latest_start)) {
        _ if row.work.thaws_far_off() => "frozen, and too far off to plan by the day".to_owned(),
        (Some(due), _) if row.is_late() => {
            let ends = date(row.done_on);
            format!(
                "LATE: due {due}, ends {}",
                ends.unwrap_or_else(|| "not within the days looked at".to_owned())
            )
        }
        (Some(due), Some(start)) if start != due => format!("start {start}, by {due}"),
        (Some(due), _) => format!("by {due}"),
        (None, _) if row.in_round && row.due.is_some() => "no hurry after tonight's drain".into(),
        (None, _) => "no due day yet".into(),
    }
}

/// Why a row stands where it does.
pub(super) fn reason(plan: &YardPlan, row: &Row) -> String {
    let mut parts = Vec::new();
    // What it costs that it is not done before its day.
    let held_for = row.done_on.map_or(0.0, |day| row.job.price_on(day) - row.job.price_on(0));
    let little = plan.next_to_nothing();
    if row.saves_per_hour >= little {
        parts.push(format!("an hour on it now saves {}", below::lost(plan, row.saves_per_hour)));
    } else if row.in_round && row.due_now().is_none()
        || row.is_late()
        || row.work.thaws_far_off()
        || held_for >= little
    {
        // Said by the due day.
    } else if row.work.over_already() && row.urgent.is_some() && !row.in_round {
        // By the evening its price has been paid, so that no day gains anything; the hours of today may.
        parts.push("may freeze before this evening: at once".to_owned());
    } else {
        let held = row.done_on.filter(|day| *day > 0).and_then(|day| plan.date(day));
        parts.push(held.map_or_else(
            || "hardly any risk in the next days".to_owned(),
            |day| format!("held until {}: hardly any risk before", date_in_words(day)),
        ));
    }
    if row.begun_on < row.done_on && !row.is_late() {
        let ends =
            row.done_on.and_then(|day| plan.date(day)).map_or_else(String::new, date_in_words);
        parts.push(format!("ends {ends}"));
    }
    if row.assumed_ashore {
        parts.push("its haul was planned and is not on record: ask whether it stands".to_owned());
    }
    if let Some(what) = &row.put_off_for {
        parts.push(format!("put off for want of {what}"));
    }
    let longest = plan.days.iter().map(|day| day.minutes).max().unwrap_or(0);
    if longest > 0 && row.crew_minutes > longest {
        parts.push("longer than any day: goes over several".into());
    }
    if let Some((day, what)) = row.not_before {
        let when = plan.date(day).map_or_else(
            || " (after the days looked at)".to_owned(),
            |date| format!(", about {}", date_in_words(date)),
        );
        parts.push(match row.due_now() {
            Some(due) if due < day && what == "hauled" => format!(
                "not before it is hauled{when}, and due before: haul it earlier, or drain it afloat"
            ),
            _ => format!("not before it is {what}{when}"),
        });
    }
    if row.is_late() && row.urgent.is_some() && !row.in_round {
        parts.push("its drain does not fit tonight: call for hands".to_owned());
    }
    let longest_takes = |minutes: u32| longest > 0 && minutes > longest;
    if let Some((day, scope)) = row.dated() {
        let by = plan.date(day).map_or_else(String::new, date_in_words);
        let way = if longest_takes(row.drain_takes_min) {
            ", and no day of the crew is long enough for it and the way: call for hands"
        } else {
            ""
        };
        parts.push(format!("emergency drain ({} min) by {by}{way}", row.undrained_min(scope)));
    }
    let drained = || row.work.groups.iter().filter(|group| row.is_drained_tonight(group));
    if drained().any(|group| group.tested_last.is_some()) {
        parts.push("what is only tested tonight is safe once its result is on record".to_owned());
    }
    if row.refreezes_first() && !row.work.thaws_far_off() {
        let own = row.work.groups.iter().filter(|group| group.refreezes_first);
        let thaws = own.filter_map(|group| group.thaws_at).min();
        parts.push(format!(
            "may freeze again before the crew is back: have somebody there when it thaws{}, or accept it",
            thaws.map_or_else(String::new, |at| format!(", about {}", thaw_in_words(plan, at)))
        ));
    } else if row.is_late()
        && row.urgent.is_none()
        && row.work.groups.iter().all(|group| group.solid)
    {
        parts.push("have somebody there when it thaws, or accept it".to_owned());
    }
    let thaws = row.work.groups.iter().filter_map(|group| group.thaws_at).max();
    if let Some(at) = thaws.filter(|_| row.not_before.is_none()) {
        parts.push(format!("not before it is thawed, about {}", thaw_in_words(plan, at)));
    }
    if let Some(share) = row.work.asked_for {
        parts.push(format!("its owner reckons with a chance of {} %", share * 100.0));
    }
    let ask = permission(row);
    if !ask.is_empty() {
        parts.push(ask.to_owned());
    }
    parts.join("; ")
}
