//! The plan in words.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::beside::{grounds, others, thaw_in_words};
use super::permission;
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::words::{boats, in_words as date_in_words};
use crate::domain::units::work_time;
use crate::service::planning::lines::{self, litres};
use crate::service::planning::{Hands, Row, WhatIf, YardPlan};

/// The whole plan for a screen.
pub(super) fn in_words(plan: &YardPlan, what_if: &WhatIf) -> String {
    let mut out = String::new();
    if *what_if != WhatIf::default() {
        let _ = writeln!(out, "What if: {}\n", supposed(what_if));
    }
    let _ = writeln!(out, "{}\n", plan.headline);
    tonight(plan, &mut out);
    list(plan, &mut out);
    below_the_list(plan, &mut out);
    out += &others(plan);
    grounds(plan, &mut out);
    out
}

fn supposed(what_if: &WhatIf) -> String {
    let mut parts = Vec::new();
    if let Some(hours) = what_if.crew_hours {
        parts.push(format!("{hours} crew hours each working day"));
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
    let Some(round) = &plan.tonight else { return };
    let _ = writeln!(
        out,
        "TONIGHT: emergency drains {} (plugs, hose, probe; the full job later)",
        match plan.hands {
            Hands::OnRoster => "before dark",
            Hands::DayOver | Hands::Nobody => "that cannot wait for the next working day",
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
                Some(None) =>
                    "; more than a dozen would be needed to be in time everywhere".to_owned(),
                _ => String::new(),
            }
        );
    }
    if let Some(last) = round.stops.last().filter(|stop| !stop.early) {
        let (begins, people) = plan.begins;
        let _ = writeln!(
            out,
            "  {}, {} of work{}: from {}{} done about {}",
            boats(round.stops.len() - early),
            work_time(round.work_min()),
            match last.ways_min {
                0 => String::new(),
                ways => format!(" and {} of ways", work_time(ways)),
            },
            clock(begins),
            match (plan.hands, people) {
                (Hands::OnRoster, 1) => " with 1 person".to_owned(),
                (Hands::OnRoster, people) => format!(" with {people} people"),
                _ => " at the pace of one".to_owned(),
            },
            clock(plan.done_at(last)),
        );
    }
    let mut place = None;
    for stop in &round.stops {
        let Some(row) = plan.rows.get(stop.job) else { continue };
        if place != Some((row.place(), stop.early)) {
            let called = if stop.early { ", before work begins" } else { "" };
            let _ = writeln!(out, "  {}{called}", row.place());
            place = Some((row.place(), stop.early));
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
            "  Does not fit, {} short: {}. Call for hands, or ask these owners.",
            work_time(round.short_min),
            rest.join(", ")
        );
    }
    if !plan.cart.is_empty() {
        let _ = writeln!(out, "  On the cart: {}", litres(&plan.cart));
    }
    let pressing: BTreeSet<&str> = plan
        .rows
        .iter()
        .filter(|row| row.urgent.is_some())
        .map(|row| row.boat.id.as_str())
        .collect();
    let waiting: BTreeSet<&str> = plan
        .rows
        .iter()
        .map(|row| row.boat.id.as_str())
        .filter(|boat| !pressing.contains(boat))
        .collect();
    let wait = waiting.len();
    let _ = writeln!(out, "  Can wait past tonight: {}\n", boats(wait));
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
        if day != Some(row.listed_on()) {
            day = Some(row.listed_on());
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
                Some(day) if group.solid => {
                    format!("frozen, would freeze again after {}", date_in_words(day))
                }
                None if group.solid => "frozen".to_owned(),
                _ if row.is_drained_tonight(group) => "drained tonight".to_owned(),
                _ if group.over_already => "over the tolerance already".to_owned(),
                Some(day) => format!("last day {}", date_in_words(day)),
                None => "no due day yet".to_owned(),
            };
            let product = group
                .product
                .as_ref()
                .map_or_else(String::new, |(name, litres)| format!(", {litres} L {name}"));
            let _ = writeln!(
                out,
                "         {}: {} min ({} min in an emergency), {last}{product}",
                group.label, group.minutes.complete, group.minutes.emergency
            );
            if !group.weak.is_empty() {
                let _ = writeln!(out, "         {}", too_weak(&group.weak));
            }
        }
    }
    out.push('\n');
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
fn due_in_words(plan: &YardPlan, row: &Row) -> String {
    let date = |day: Option<usize>| day.and_then(|day| plan.date(day)).map(date_in_words);
    match (date(row.due_now()), date(row.latest_start)) {
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
    if row.saves_per_hour >= 0.5 {
        parts.push(format!("an hour on it now saves {:.0}", row.saves_per_hour));
    } else if row.in_round && row.due_now().is_none() || row.is_late() || held_for >= 0.5 {
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
    let open = |scope| {
        let open = row.work.within(scope).filter(|group| !row.is_drained_tonight(group));
        open.map(|group| group.minutes.emergency).sum::<u32>()
    };
    let waits = |scope: &crate::domain::risk::plan::boat::Scope| row.urgent != Some(*scope);
    if let Some((day, scope)) = row.drain_by.filter(|(_, scope)| waits(scope) && open(*scope) > 0) {
        let by = plan.date(day).map_or_else(String::new, date_in_words);
        parts.push(format!("emergency drain ({} min) by {by}", open(scope)));
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
    let ask = permission(row);
    if !ask.is_empty() {
        parts.push(ask.to_owned());
    }
    parts.join("; ")
}

fn below_the_list(plan: &YardPlan, out: &mut String) {
    if plan.rows.is_empty() {
        return;
    }
    let best = plan.ranked.divided.bound;
    let quality = match plan.gap() {
        None if plan.loss < 0.5 => "this list is expected to lose next to nothing".to_owned(),
        None => format!(
            "this list is expected to lose {:.0}, where the best possible would lose next to nothing",
            plan.loss
        ),
        Some(gap) if gap < 5e-4 => format!(
            "this list is expected to lose {:.0}, the best possible in the hours and hands that there are",
            plan.loss
        ),
        Some(gap) => format!(
            "this list is expected to lose {:.0} and is within {:.1} % of the best possible (no order can lose less than {best:.0})",
            plan.loss,
            gap * 100.0
        ),
    };
    let kept = plan.ranked.kept.map_or_else(String::new, |gain| {
        if gain < 0.5 {
            "; yesterday's order was kept, a new one would spare nothing".to_owned()
        } else {
            format!("; yesterday's order was kept, as a new one would spare {gain:.0} of that")
        }
    });
    let _ = writeln!(out, "How good: {quality}{kept}.");
    let hour = plan.ranked.divided.hour_value;
    if hour >= 0.5 {
        let _ = writeln!(out, "One more crew hour today would save {hour:.0}.");
    }
    // Those that are hauled only after the days looked at are no shortfall of hands.
    let is_undone =
        |row: &&Row| row.minutes > 0 && row.done_on.is_none() && row.begins_on < plan.days.len();
    let undone: Vec<&Row> = plan.rows.iter().filter(is_undone).collect();
    let named: BTreeSet<&str> = undone.iter().map(|row| row.boat.id.as_str()).collect();
    if !undone.is_empty() {
        let lost: f64 = undone.iter().map(|row| row.job.price_undone()).sum();
        let _ = writeln!(
            out,
            "Shortfall: {} below the line, expected loss {lost:.0}.",
            boats(named.len())
        );
    }
    if let [now, later @ ..] = plan.waiting.as_slice() {
        let steps: Vec<String> = later.iter().map(|loss| format!("{:.0}", loss - now)).collect();
        let _ = writeln!(out, "Waiting one, two ... days costs {}.", steps.join(", "));
    }
    let words = |tail: &crate::domain::risk::plan::tail::Tail| {
        let parts: Vec<String> = tail
            .chances
            .iter()
            .map(|(least, chance)| format!("{} % for {least} or more", (chance * 100.0).round()))
            .collect();
        parts.join(", ")
    };
    let _ = writeln!(out, "Damaged boats in these days by this plan: {}.", words(&plan.tail.0));
    let _ = writeln!(out, "With nothing done: {}.", words(&plan.tail.1));
    if plan.tail.0.chances.last().is_some_and(|(_, chance)| *chance > 0.05) {
        let _ = writeln!(
            out,
            "WARNING: one cold may take twenty boats or more even so. More hands, or emergency drains first."
        );
    }
    if !plan.order.is_empty() {
        let _ = writeln!(out, "To have for the week: {}.", litres(&plan.order));
    }
    out.push('\n');
}
