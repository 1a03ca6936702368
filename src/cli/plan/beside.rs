//! What stands beside the crew's list: frozen boats, what others do, what cannot be said, on what ground.

use std::fmt::Write as _;

use crate::app::planning::{Frozen, YardPlan};
use crate::domain::boat::{Boat, SiteId};
use crate::domain::risk::plan::words::{boats, in_words as date_in_words};
use crate::domain::units::work_time;

/// What is to be done about what has frozen, before the boats are named.
pub(super) const FROZEN: &str = "Frozen: start nothing before it has thawed and been tested, then drain it before the next cold";

/// The same for water in which ice has begun.
pub(super) const ICE_BEGUN: &str = "Ice has begun, let out at once what still runs";

/// What stands beside the crew's list, for a screen.
pub(super) fn others(plan: &YardPlan) -> String {
    let mut out = String::new();
    let lines = |out: &mut String, lines: Vec<String>, indent: &str| {
        for line in lines {
            let _ = writeln!(out, "{indent}{line}");
        }
    };
    lines(&mut out, at_once(plan), "");
    for (what, runs) in [(ICE_BEGUN, true), (FROZEN, false)] {
        let boats = frozen(plan, runs);
        if !boats.is_empty() {
            let _ = writeln!(out, "{what}:");
            lines(&mut out, boats, "  ");
        }
    }
    lines(&mut out, not_for_the_crew(plan), "");
    out
}

/// What cannot wait for a place on the list: work for others, boats of which nothing can be said.
pub(super) fn at_once(plan: &YardPlan) -> Vec<String> {
    let outside = plan.outside.iter().map(|one| {
        let due = one.group.last_day.and_then(|day| plan.date(day));
        format!(
            "Nobody of this crew may do it ({}), call somebody who may: {}: {}, {} min{}",
            one.skill,
            boat_at(&one.boat, &one.at),
            one.group.label,
            one.group.minutes.complete,
            due.map_or_else(String::new, |day| format!(", by {}", date_in_words(day)))
        )
    });
    let unseen = plan.cannot_say.iter().map(|(site, n)| {
        format!(
            "CANNOT SAY: {site} has no usable forecast; {} there {} not in this plan",
            boats(*n),
            if *n == 1 { "is" } else { "are" }
        )
    });
    outside.chain(unseen).collect()
}

/// Boats in which ice has begun, each with what still runs (`true`), or frozen through, each with when it thaws.
pub(super) fn frozen(plan: &YardPlan, runs: bool) -> Vec<String> {
    let named = |frozen: &Frozen| {
        let parts = parts(plan, frozen, runs)?;
        Some(format!("{}: {parts}", boat_at(&frozen.boat, &frozen.at)))
    };
    plan.frozen.iter().filter_map(named).collect()
}

/// Boats that are not the crew's to work on.
pub(super) fn not_for_the_crew(plan: &YardPlan) -> Vec<String> {
    let owners = plan.owners.iter().map(|row| {
        let due = row.due.and_then(|day| plan.date(day));
        let when =
            due.map_or_else(|| "no due day yet".into(), |day| format!("by {}", date_in_words(day)));
        format!(
            "Owner's own: {} {} at {}, {} of work, {when}; ask whether it is done",
            row.boat.id,
            row.boat.name,
            row.work.place,
            work_time(row.minutes)
        )
    });
    let done: Vec<String> =
        plan.done.iter().map(|boat| format!("{} {}", boat.id, boat.name)).collect();
    let done = (!done.is_empty()).then(|| format!("Nothing open: {}", done.join(", ")));
    owners.chain(done).collect()
}

fn boat_at(boat: &Boat, (place, location): &(SiteId, String)) -> String {
    let at = format!("{} {} at {place} {location}", boat.id, boat.name);
    at.trim_end().to_owned()
}

/// The circuits of a boat past their limit in which water still runs, or does not; `None` where there are none.
fn parts(plan: &YardPlan, frozen: &Frozen, runs: bool) -> Option<String> {
    let of = frozen.circuits.iter().filter(|one| one.runs == runs);
    let named: Vec<String> = of
        .map(|one| match one.thaws.filter(|_| !runs) {
            Some(at) => format!("{} (thaws about {})", one.label, thaw_in_words(plan, at)),
            None => one.label.clone(),
        })
        .collect();
    (!named.is_empty()).then(|| named.join(", "))
}

/// `Fri 25 Nov`; of today the hour.
pub(super) fn thaw_in_words(plan: &YardPlan, at: chrono::DateTime<chrono::Utc>) -> String {
    let local = |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&plan.crew.zone);
    if local(at).date_naive() == local(plan.at).date_naive() {
        return local(at).format("%H:%M today").to_string();
    }
    date_in_words(local(at).date_naive())
}

/// In spring, the day from which on water may be filled in again: a heading, and a line for each place.
pub(super) fn spring(plan: &YardPlan) -> Vec<String> {
    if plan.fill_from.is_empty() {
        return Vec::new();
    }
    let day = |date: chrono::NaiveDate| date.format("%-d %b").to_string();
    let heading = format!(
        "Fill water in again, by past winters: another damaging freeze came after these days in {:.0} % of them or fewer (season.tolerance of the configuration; a what-if does not move them). Look at the forecast too; drain again where cold comes after all:",
        plan.fill_tolerance * 100.0
    );
    let places = plan.fill_from.iter().map(|from| {
        let engine = from
            .engine
            .map_or_else(String::new, |at| format!("engine and drive from {}, ", day(at)));
        format!(
            "  {}: {engine}hoses and fittings from {} ({} winters)",
            from.site,
            day(from.all),
            from.winters
        )
    });
    std::iter::once(heading).chain(places).collect()
}

pub(super) fn grounds(plan: &YardPlan, out: &mut String) {
    let spring = spring(plan);
    if !spring.is_empty() {
        let _ = writeln!(out, "\n{}", spring.join("\n"));
    }
    if let Some(until) = plan.forecast_until {
        let _ = writeln!(
            out,
            "\n{}. It reaches {}; after that each of its paths goes on along {} with the day-to-day changes of public records. Minutes are common practice, losses count by their ratios only.",
            plan.sources(),
            until.with_timezone(&plan.crew.zone).format("%a %-d %b %H:%M"),
            match plan.without_past {
                0 => "the normals of its place's past seasons".to_owned(),
                1 => "the normals of past seasons (one place has none: season.archives in the configuration)".to_owned(),
                n => format!("the season ({n} places have no past seasons of their own: season.archives in the configuration)"),
            }
        );
    }
}
