//! `rimeward plan`: which boats first, by which day to start, what falls short, and what to drain tonight. Sends nothing.

mod below;
mod beside;
mod page;
mod sheet;
mod text;

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::app::planning::{Parallel, Row, WhatIf, YardPlan, lines::permission, plan_at};
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::group::{GroupWork, OpenCircuit};
use crate::domain::risk::plan::tail::Tail;

/// What is filled in about antifreeze that was put through.
const FLUSH_FILL: &str = "fluid= label= litres_in=";

/// Arguments of `plan`.
#[derive(Debug, clap::Args)]
pub struct PlanArgs {
    /// What if the crew had so many hours on each working day, all together
    #[arg(long, value_name = "H", allow_negative_numbers = true)]
    crew_hours: Option<f64>,
    /// What if this technician were away (may be given more than once)
    #[arg(long, value_name = "TECH")]
    without: Vec<String>,
    /// What if it came so many kelvins colder than forecast
    #[arg(long, value_name = "K", default_value_t = 0.0, allow_negative_numbers = true)]
    cold: f64,
    /// Tolerated chance of severe damage, 0 to 0.25 (default: the configuration's)
    #[arg(long, value_name = "SHARE", allow_negative_numbers = true)]
    tolerance: Option<f64>,
    /// Write the list as a table
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write a page to print, with boxes to tick
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// At this time instead of now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Only what was known by then
    #[arg(long, value_name = "TIME")]
    known_at: Option<String>,
}

/// Plans the crew's days.
///
/// # Errors
/// [`CliError`]: a number that cannot be, an unknown technician, a time that is none, the store, the disk.
pub fn plan(args: &PlanArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let what_if = what_if(args)?;
    let house = around.house()?;
    let zone = house.settings.yard.time_zone;
    let instant = around.instant((args.at.as_deref(), args.known_at.as_deref()), zone)?;
    let plan = plan_at(&house, instant, &what_if).map_err(|error| match error {
        crate::app::context::ServiceError::Told(why) => CliError::bad_input(why),
        other => other.into(),
    })?;
    let text = text::in_words(&plan, &what_if);
    if let Some(path) = &args.csv {
        write(path, &sheet::csv(&plan, &what_if)?)?;
    }
    if let Some(path) = &args.html {
        write(path, &page::html(&plan, &house.settings.yard.name, &what_if)?)?;
    }
    let exit = if plan.cannot_say.is_empty() { Exit::Done } else { Exit::Blind };
    Ok(CommandOutput { text, json: as_json(&plan, &what_if), exit })
}

fn what_if(args: &PlanArgs) -> Result<WhatIf, CliError> {
    if let Some(hours) = args.crew_hours.filter(|hours| !(0.0..=1000.0).contains(hours)) {
        return Err(CliError::bad_input(format!(
            "--crew-hours {hours}: crew hours of a working day, 0 to 1000"
        )));
    }
    if !(-20.0..=20.0).contains(&args.cold) {
        return Err(CliError::bad_input(format!(
            "--cold {}: kelvins colder than forecast, -20 to 20",
            args.cold
        )));
    }
    if let Some(share) = args.tolerance.filter(|share| !(0.0..=0.25).contains(share)) {
        return Err(CliError::bad_input(format!(
            "--tolerance {share}: a chance from 0 to 0.25; more than one in four is a bet"
        )));
    }
    Ok(WhatIf {
        crew_hours: args.crew_hours,
        without: args.without.clone(),
        colder_k: args.cold,
        tolerance: args.tolerance,
    })
}

fn write(path: &Path, text: &str) -> Result<(), CliError> {
    std::fs::write(path, text)
        .map_err(|error| CliError::failed(format!("cannot write {}: {error}", path.display())))
}

/// The lines that write the work on a group into the log once it is done; what stands before an empty `=` is filled in. After
/// a complete lay-up the product that was put through is written as well.
fn record_lines(row: &Row, group: &GroupWork, scope: Scope) -> Vec<String> {
    let emptied: Vec<&OpenCircuit> =
        group.open.iter().filter(|open| open.is_emptied_first()).collect();
    let mut lines = entry_lines(row, ("drained", "litres_out="), &emptied);
    let work = group
        .entries()
        .into_iter()
        .flat_map(|(entry, open)| entry_lines(row, (&entry.event, &entry.fill), &open));
    lines.extend(work);
    // What its own entry has put product through already is not written twice.
    let is_written =
        |open: &&OpenCircuit| open.entry.as_ref().is_some_and(|entry| entry.event == group.flush);
    let flushed: Vec<&OpenCircuit> =
        group.open.iter().filter(|open| open.flushed && !is_written(open)).collect();
    if scope == Scope::Complete && !group.flush.is_empty() && !flushed.is_empty() {
        lines.extend(entry_lines(row, (&group.flush, FLUSH_FILL), &flushed));
    }
    lines
}

/// One line for each of several engines or units, since an entry that names none counts for none of them in full.
fn entry_lines(row: &Row, (event, fill): (&str, &str), open: &[&OpenCircuit]) -> Vec<String> {
    let mut instances: Vec<Option<&str>> = Vec::new();
    for one in open {
        if !instances.contains(&one.instance.as_deref()) {
            instances.push(one.instance.as_deref());
        }
    }
    let line = |instance: Option<&str>| {
        let own = open.iter().filter(|one| one.instance.as_deref() == instance);
        let mut circuits: Vec<&str> = own.map(|one| one.circuit.as_str()).collect();
        circuits.dedup();
        let which = instance.map_or_else(String::new, |name| format!("instance=\"{name}\" "));
        let line = format!(
            "rimeward record {} {event} circuits=\"{}\" {which}{fill}",
            row.boat.id,
            circuits.join(";"),
        );
        line.trim_end().to_owned()
    };
    instances.into_iter().map(line).collect()
}

fn as_json(plan: &YardPlan, what_if: &WhatIf) -> Value {
    let zone = plan.crew.zone;
    let days: Vec<Value> = plan
        .days
        .iter()
        .map(|day| json!({ "date": day.date, "crew_h": tidy(f64::from(day.minutes) / 60.0) }))
        .collect();
    let tonight = plan.tonight.as_ref().map(|round| {
        let boat = |row: &usize| plan.rows.get(*row).map(|row| row.boat.id.clone());
        json!({
            "stops": round.stops.iter().map(|stop| json!({
                "boat": boat(&stop.job), "done_after_s": stop.done_after_min * 60,
                "done_at": plan.done_at(stop).with_timezone(&zone).to_rfc3339(), "late": stop.late,
                "before_work_begins": stop.early, "after_hours": stop.after_hours,
            })).collect::<Vec<_>>(),
            "left_over": round.left_over.iter().map(boat).collect::<Vec<_>>(),
            "work_s": round.work_min() * 60,
            "begins": plan.begins.0.with_timezone(&zone).to_rfc3339(),
            "people": plan.begins.1,
            "people_before_work_begins": plan.early_people.flatten(),
            "hands": match plan.hands {
                Parallel::OnRoster => "on_roster",
                Parallel::DayOver => "day_over",
                Parallel::Nobody => "nobody",
            },
            "short_s": round.short_min * 60,
            "fits_in_two_parties": round.parties,
            "carry_l": plan.cart,
        })
    });
    json!({
        "at": plan.at.with_timezone(&zone).to_rfc3339(),
        "headline": plan.headline,
        "what_if": {
            "crew_hours": what_if.crew_hours,
            "without": what_if.without,
            "colder_k": what_if.colder_k,
            "tolerance": what_if.tolerance,
        },
        "fill_from": plan.fill_from.iter().map(|from| json!({
            "site": from.site, "tolerance": plan.fill_tolerance, "engine": from.engine, "all": from.all, "winters": from.winters,
        })).collect::<Vec<_>>(),
        "sources": plan.sources(),
        "places_without_past_seasons": plan.without_past,
        "forecast_until": plan.forecast_until.map(|at| at.with_timezone(&zone).to_rfc3339()),
        "days": days,
        "must_start": {
            "latest_start": plan.must.latest_start.and_then(|day| plan.date(day)),
            "binding": plan.must.binding.iter().filter_map(|day| plan.date(*day)).collect::<Vec<_>>(),
            "short_h": tidy(f64::from(plan.must.short_minutes) / 60.0),
            "due_h": tidy(f64::from(plan.must.due_minutes) / 60.0),
            "needed_h_per_working_day": tidy(f64::from(plan.must.need_minutes) / 60.0),
            "late_at_least": plan.late,
            "bound_by_skill": plan.bound_by,
            "first_due": plan.first_due.and_then(|day| plan.date(day)),
            "away": plan.away,
        },
        "rows": plan.rows.iter().map(|row| row_json(plan, row)).collect::<Vec<_>>(),
        "owners": plan.owners.iter().map(|row| row_json(plan, row)).collect::<Vec<_>>(),
        "done": plan.done.iter().map(|boat| &boat.id).collect::<Vec<_>>(),
        "frozen": plan.frozen.iter().map(|one| json!({
            "boat": one.boat.id, "site": one.at.0, "location": one.at.1,
            "circuits": one.circuits.iter().map(|one| json!({
                "label": one.label, "still_runs": one.runs,
                "thaws": one.thaws.map(|at| at.with_timezone(&zone).date_naive()),
                "thaws_at": one.thaws.map(|at| at.with_timezone(&zone).to_rfc3339()),
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "outside": plan.outside.iter().map(|one| json!({
            "boat": one.boat.id, "site": one.at.0, "location": one.at.1,
            "group": one.group.group, "skill": one.skill, "minutes": one.group.minutes.complete,
            "last_day": one.group.last_day.and_then(|day| plan.date(day)),
        })).collect::<Vec<_>>(),
        "cannot_say": plan.cannot_say.iter().map(|(site, boats)| json!({
            "site": site, "boats": boats,
        })).collect::<Vec<_>>(),
        "expected_loss": tidy(plan.loss),
        "expected_loss_with_dated_drains": tidy((plan.loss - plan.drains_spare).max(0.0)),
        "loss_unit": if plan.equal { "boats" } else { "money" },
        "bound": tidy(plan.ranked.divided.bound),
        "gap": plan.gap().map(tidy),
        "kept_from_yesterday": plan.ranked.kept.is_some(),
        "hour_today_saves": tidy(plan.ranked.divided.hour_value),
        "waiting": plan.waiting.iter().map(|loss| tidy(*loss)).collect::<Vec<_>>(),
        "damaged": { "by_plan": tail_json(&plan.tail.0), "nothing_done": tail_json(&plan.tail.1) },
        "tonight": tonight,
        "owners_tonight": plan.owners_tonight().map(|row| json!({
            "boat": row.boat.id, "site": row.place(), "location": row.location(),
            "minutes": row.urgent.map(|scope| row.work.minutes(scope)),
        })).collect::<Vec<_>>(),
        "order_l": plan.order,
    })
}

fn tail_json(tail: &Tail) -> Value {
    let chances: Vec<Value> = tail
        .chances
        .iter()
        .map(|(least, chance)| json!({ "at_least": least, "chance": tidy(*chance) }))
        .collect();
    json!({ "mean": tidy(tail.mean), "chances": chances, "members": tail.members })
}

fn row_json(plan: &YardPlan, row: &Row) -> Value {
    let date = |day: Option<usize>| day.and_then(|day| plan.date(day));
    let groups: Vec<Value> = row
        .work
        .groups
        .iter()
        .map(|group| {
            json!({
                "group": group.group,
                "circuits": group.open.iter().map(|open| &open.circuit).collect::<Vec<_>>(),
                "last_day": date(group.last_day),
                "over_already": group.over_already,
                "frozen": group.solid,
                "barred_for": group.barred,
                "thaws_at": group.thaws_at.map(|at| at.with_timezone(&plan.crew.zone).to_rfc3339()),
                "refreezes_first": group.refreezes_first,
                "watched_tonight": group.watched,
                "chance_tonight": tidy(group.chance.get(1).copied().unwrap_or(0.0)),
                "chance_by_end": tidy(group.chance.last().copied().unwrap_or(0.0)),
                "minutes": group.minutes.complete,
                "emergency_minutes": group.minutes.emergency,
                "product": group.product.as_ref().map(|(name, _)| name),
                "too_weak": group.weak,
                "litres": group.product.as_ref().map(|(_, litres)| litres),
                "besides": group.besides.iter().map(|(name, litres)| json!({
                    "product": name, "litres": litres,
                })).collect::<Vec<_>>(),
                "record": record_lines(row, group, Scope::Complete),
            })
        })
        .collect();
    json!({
        "boat": row.boat.id,
        "visit": row.visit,
        "site": row.place(),
        "location": row.location(),
        "still_afloat": row.elsewhere,
        "late": row.is_late(),
        "care": row.boat.care,
        "minutes": row.minutes,
        "crew_minutes": row.crew_minutes,
        "last_day": date(row.due),
        "due_after_tonight": date(row.due_now()),
        "drained_tonight": row.in_round,
        "drain_by": date(row.dated().map(|(day, _)| day)),
        "not_before": row.not_before.and_then(|(day, _)| plan.date(day)),
        "latest_start": date(row.latest_start),
        "begun_on": date(row.begun_on),
        "done_on": date(row.done_on),
        "haul_not_on_record": row.assumed_ashore,
        "saves_per_hour": tidy(row.saves_per_hour),
        "permission": permission(row),
        "key": row.boat.key_code(),
        "put_off_for": row.put_off_for,
        "owner_tolerates": row.work.asked_for,
        "why": text::reason(plan, row),
        "groups": groups,
    })
}

/// Rounded to a ten-thousandth: more digits would only look exact.
fn tidy(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}
