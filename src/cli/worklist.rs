//! `rimeward worklist`: what is at risk, ranked. Sends nothing.

use serde_json::{Value, json};

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::app::assess::{Assessment, assess};
use crate::domain::boat::{BoatId, SiteId};
use crate::domain::catalogue::Catalogue;
use crate::domain::risk::{CircuitRisk, power, rank};
use crate::domain::weather::credit::credits;

/// Arguments of `worklist`.
#[derive(Debug, clap::Args)]
pub struct WorklistArgs {
    /// Only this place
    #[arg(long, value_name = "PLACE")]
    site: Option<String>,
    /// Only this boat
    #[arg(long)]
    boat: Option<String>,
    /// At this time instead of now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Only what was known by then
    #[arg(long, value_name = "TIME")]
    known_at: Option<String>,
}

/// Looks over the yard and ranks what is at risk.
///
/// # Errors
/// [`CliError`]: an unknown place or boat, a time that is none, the store.
pub fn worklist(args: &WorklistArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let zone = house.settings.yard.time_zone;
    let instant = around.instant((args.at.as_deref(), args.known_at.as_deref()), zone)?;
    let site = args.site.as_deref().map(SiteId::from);
    let boat = args.boat.as_deref().map(BoatId::from);
    let yard = house.yard()?;
    if let Some(site) = site.as_ref().filter(|site| !yard.sites.contains_key(site)) {
        let known: Vec<&str> = yard.sites.keys().map(SiteId::as_str).collect();
        return Err(CliError::bad_input(format!(
            "no place is called {site}; the yard has {}",
            known.join(", ")
        )));
    }
    if let Some(boat) = boat.as_ref().filter(|id| !yard.boats.iter().any(|b| b.id == **id)) {
        return Err(CliError::bad_input(format!("no boat is called {boat}; see the yard's list")));
    }
    let mut seen = assess(&house, instant, |id| site.as_ref().is_none_or(|site| site == id))?;
    if let Some(boat) = boat {
        seen.boats.retain(|view| view.boat.id == boat);
    }
    let exit = if seen.is_blind() { Exit::Blind } else { Exit::Done };
    let mut text = crate::app::notify::worklist::worklist_text(&house, &seen)?;
    text.push_str(&only_while_powered(&seen, &house.catalogue));
    Ok(CommandOutput { text, json: worklist_json(&seen), exit })
}

/// The rows of an assessment that are worth listing, in the order of the worklist.
#[must_use]
pub fn ranked(assessment: &Assessment) -> Vec<&CircuitRisk> {
    let rows = assessment.boats.iter().flat_map(|view| &view.stated);
    let mut rows: Vec<&CircuitRisk> = rows.filter(|row| rank::is_worth_listing(row)).collect();
    rows.sort_by(|a, b| rank::order(a, b));
    rows
}

/// The worklist as one document.
#[must_use]
pub fn worklist_json(assessment: &Assessment) -> Value {
    let local = |at: chrono::DateTime<chrono::Utc>, site: &SiteId| {
        at.with_timezone(&assessment.yard.zone(site)).to_rfc3339()
    };
    let sites: Vec<Value> = assessment
        .places
        .values()
        .map(|place| {
            let id = &place.site.id;
            let age = |issued: chrono::DateTime<chrono::Utc>| {
                (assessment.instant.at - issued).num_seconds()
            };
            json!({
                "site": id,
                "forecast": {
                    "service": place.forecast.as_ref().map(|f| f.service.clone()),
                    "issued": place.forecast.as_ref().map(|f| local(f.issued_at, id)),
                    "age_s": place.forecast.as_ref().map(|f| age(f.issued_at)),
                    "state": place.state,
                    "credit": place.forecast.as_ref().map(|f| credits([f.service.as_str()])),
                },
                "measured": place.measured.as_ref().map(|seen| json!({
                    "station": seen.station,
                    "distance_km": tidy(seen.distance_km),
                    "time": local(seen.step.time, id),
                    "temperature_c": seen.step.temperature_c.map(tidy),
                })),
                "official": place.official().map(|(notice, not_shown)| json!({
                    "event": notice.event,
                    "office": notice.office,
                    "onset": local(notice.onset, id),
                    "ends": local(notice.ends, id),
                    "not_in_our_forecast": not_shown,
                })).collect::<Vec<_>>(),
                "low": place.low_stated.map(|low| json!({
                    "time": local(low.time, id),
                    "median_c": tidy(low.median_c),
                    "p10_c": tidy(low.p10_c),
                    "p90_c": tidy(low.p90_c),
                })),
            })
        })
        .collect();
    let rows: Vec<Value> = ranked(assessment)
        .into_iter()
        .map(|row| {
            json!({
                "boat": row.boat,
                "site": row.site,
                "circuit": row.circuit,
                "instance": row.instance,
                "holds": row.holds,
                "evidence": row.evidence,
                "consequence": row.consequence,
                "limit": row.limit,
                "limit_at_c": row.limit_at_c.map(tidy),
                "chance_first_ice": tidy(row.chance_first_ice),
                "chance_slush": tidy(row.chance_slush),
                "chance_burst": tidy(row.chance_burst),
                "chance_limit": tidy(row.chance_limit),
                "frozen_now": row.frozen_now,
                "first_danger": row.first_danger.map(|at| local(at, &row.site)),
                "latest_start": row.latest_start.map(|at| local(at, &row.site)),
                "slack_s": row.slack_s,
                "priority": row.priority,
                "action": row.action,
                "minutes": row.minutes,
                "why": row.why,
            })
        })
        .collect();
    let zone = assessment.places.values().next().map_or(chrono_tz::Tz::UTC, |p| p.site.time_zone);
    json!({
        "at": assessment.instant.at.with_timezone(&zone).to_rfc3339(),
        "known_at": assessment.instant.known_at.with_timezone(&zone).to_rfc3339(),
        "until": assessment.until_stated.with_timezone(&zone).to_rfc3339(),
        "sites": sites,
        "rows": rows,
        "if_power_fails": power_json(assessment),
    })
}

/// One line for each boat that holds only while the power of its place is on: its soonest circuit.
fn only_while_powered(assessment: &Assessment, catalogue: &Catalogue) -> String {
    let line = |view: &crate::app::assess::BoatView| {
        let loss = power::soonest(&view.if_power_fails)?;
        let label = catalogue
            .circuit(&loss.circuit)
            .map_or(loss.circuit.as_str(), |kind| kind.label.as_str());
        Some(format!("{} {label}: {}\n", view.boat.id, power::words(loss)))
    };
    let lines: String = assessment.boats.iter().filter_map(line).collect();
    if lines.is_empty() { lines } else { format!("\n{lines}") }
}

fn power_json(assessment: &Assessment) -> Vec<Value> {
    let losses = assessment.boats.iter().flat_map(|view| {
        view.if_power_fails.iter().filter(|loss| loss.sure_h().is_some()).map(|loss| {
            let [early, middle, late] = loss.ice_after_h;
            json!({
                "boat": view.boat.id,
                "site": view.state.site,
                "circuit": loss.circuit,
                "instance": loss.instance,
                "consequence": loss.consequence,
                "ice_after_h": {"p10": early, "p50": middle, "p90": late},
                "within_h": loss.within_h,
                "why": power::words(loss),
            })
        })
    });
    losses.collect()
}

/// Rounded to a ten-thousandth: more digits would only look exact.
fn tidy(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}
