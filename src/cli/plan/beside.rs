//! What stands beside the crew's list: frozen boats, what others do, what cannot be said, on what ground.

use std::fmt::Write as _;

use crate::domain::risk::plan::words::{boats, in_words as date_in_words};
use crate::domain::units::work_time;
use crate::service::planning::{Frozen, YardPlan};

/// What stands beside the crew's list: boats that have frozen, what others do, what cannot be said.
pub(super) fn others(plan: &YardPlan) -> String {
    let mut out = String::new();
    for one in &plan.outside {
        let due = one.group.last_day.and_then(|day| plan.date(day));
        let _ = writeln!(
            out,
            "Nobody of this crew may do it ({}), call somebody who may: {} {} at {} {}: {}, {} min{}",
            one.skill,
            one.boat.id,
            one.boat.name,
            one.at.0,
            one.at.1,
            one.group.label,
            one.group.minutes.complete,
            due.map_or_else(String::new, |day| format!(", by {}", date_in_words(day)))
        );
    }
    for Frozen { boat, at: (place, location), circuits } in &plan.frozen {
        let named = |runs: bool| {
            let of = circuits.iter().filter(|one| one.runs == runs);
            of.map(|one| {
                let thaws = one.thaws.filter(|_| !runs);
                thaws.map_or_else(
                    || one.label.clone(),
                    |at| format!("{} (thaws about {})", one.label, thaw_in_words(plan, at)),
                )
            })
            .collect::<Vec<_>>()
            .join(", ")
        };
        let at = [place.as_str(), location.as_str()].join(" ");
        let at = at.trim_end();
        if circuits.iter().any(|one| one.runs) {
            let _ = writeln!(
                out,
                "Ice has begun, let out what still runs at once: {} {} at {at}: {}",
                boat.id,
                boat.name,
                named(true)
            );
        }
        if circuits.iter().any(|one| !one.runs) {
            let _ = writeln!(
                out,
                "Frozen: start nothing before it has thawed and been tested, then drain it before the next cold: {} {} at {at}: {}",
                boat.id,
                boat.name,
                named(false)
            );
        }
    }
    for row in &plan.owners {
        let due = row.due.and_then(|day| plan.date(day));
        let when =
            due.map_or_else(|| "no due day yet".into(), |day| format!("by {}", date_in_words(day)));
        let _ = writeln!(
            out,
            "Owner's own: {} {} at {}, {} of work, {when}; ask whether it is done",
            row.boat.id,
            row.boat.name,
            row.work.place,
            work_time(row.minutes)
        );
    }
    for (site, n) in &plan.cannot_say {
        let _ = writeln!(
            out,
            "CANNOT SAY: {site} has no usable forecast; {} there are not in this plan",
            boats(*n)
        );
    }
    if !plan.done.is_empty() {
        let names: Vec<String> =
            plan.done.iter().map(|boat| format!("{} {}", boat.id, boat.name)).collect();
        let _ = writeln!(out, "Nothing open: {}", names.join(", "));
    }
    out
}

/// `Fri 25 Nov`; of today the hour.
pub(super) fn thaw_in_words(plan: &YardPlan, at: chrono::DateTime<chrono::Utc>) -> String {
    let local = |at: chrono::DateTime<chrono::Utc>| at.with_timezone(&plan.crew.zone);
    if local(at).date_naive() == local(plan.at).date_naive() {
        return local(at).format("%H:%M today").to_string();
    }
    date_in_words(local(at).date_naive())
}

/// In spring, the day from which on water may be filled in again.
fn spring(plan: &YardPlan, out: &mut String) {
    if plan.fill_from.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "\nFill water in again, by past winters (look at the forecast too; drain again where cold comes after all):"
    );
    for from in &plan.fill_from {
        let day = |date: chrono::NaiveDate| date.format("%-d %b").to_string();
        let engine = from
            .engine
            .map_or_else(String::new, |at| format!("engine and drive from {}, ", day(at)));
        let _ = writeln!(
            out,
            "  {}: {engine}hoses and fittings from {} ({} winters)",
            from.site,
            day(from.all),
            from.winters
        );
    }
}

pub(super) fn grounds(plan: &YardPlan, out: &mut String) {
    spring(plan, out);
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
