//! `rimeward alerts out-of-service`, `in-service`, `cancel`: by whoever runs the place; the next round tells those concerned.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::found::{find, shelver};
use super::{CliError, CommandOutput, Exit, parse_time};
use crate::app::alerts::by_hand::by_hand;
use crate::app::context::{AppContext, YardBook};
use crate::domain::alert::Transition;

/// Arguments of `alerts out-of-service`.
#[derive(Debug, clap::Args)]
pub struct OutArgs {
    /// Which alert, such as freeze-B02-1
    id: String,
    /// When it is to be looked at again, and followed again by itself: 2023-01-15 (90 days ahead at most)
    #[arg(long, value_name = "DAY")]
    review_on: String,
    /// Why, for the log and for whoever is told
    #[arg(long)]
    reason: String,
    /// Who takes it out: a person's id (default: the manager of the place)
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
}

/// Arguments of `alerts in-service`.
#[derive(Debug, clap::Args)]
pub struct InArgs {
    /// Which alert
    id: String,
    /// Who puts it back: a person's id (default: the manager of the place)
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
}

/// Arguments of `alerts cancel`.
#[derive(Debug, clap::Args)]
pub struct CancelArgs {
    /// Which alert
    id: String,
    /// What was wrong with it, for the log and for whoever was told
    #[arg(long)]
    reason: String,
    /// Who takes it back: a person's id (default: the manager of the place)
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
}

/// Takes one alert out of service.
///
/// # Errors
/// [`CliError`]: no such alert or person, a day that is none or too far off.
pub fn out(
    args: &OutArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, &args.id)?;
    let zone = yard.zone(&record.site);
    let review = parse_time(&args.review_on, zone)?.with_timezone(&zone);
    let person = shelver(yard, &record, args.by.as_deref())?;
    let act = |alert: &crate::domain::alert::Alert, _: Option<&_>| {
        alert.take_out(person, review, &args.reason, now)
    };
    by_hand(house, &record, &act, now)?.map_err(|error| CliError::bad_input(error.to_string()))?;
    Ok(CommandOutput {
        text: format!(
            "{} is out of service until {} by {}: {}\nWhoever counts on it hears of that with the next round. The boat stays on the worklist.\n",
            args.id,
            review.format("%a %-d %b %Y"),
            person.name,
            args.reason.trim()
        ),
        json: json!({ "alert": args.id, "review_on": review.to_rfc3339(), "by": person.id }),
        exit: Exit::Done,
    })
}

/// Puts one alert back in service.
///
/// # Errors
/// [`CliError`]: no such alert or person, or it is not out of service.
pub fn back(
    args: &InArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, &args.id)?;
    let person = shelver(yard, &record, args.by.as_deref())?;
    let change = by_hand(house, &record, &|alert, _| alert.put_back(person, now), now)?
        .map_err(|error| CliError::bad_input(error.to_string()))?;
    Ok(CommandOutput {
        text: format!(
            "{}: {change}, back in service by {}; judged anew from the next round on\n",
            args.id, person.name
        ),
        json: json!({ "alert": args.id, "change": change, "by": person.id }),
        exit: Exit::Done,
    })
}

/// Takes back one alert that was issued in error.
///
/// # Errors
/// [`CliError`]: no such alert or person, or it is over.
pub fn cancel(
    args: &CancelArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, &args.id)?;
    let person = shelver(yard, &record, args.by.as_deref())?;
    let act = |alert: &crate::domain::alert::Alert, _: Option<&_>| {
        let next = alert.take_back(person, &args.reason)?;
        let why = format!("to be taken back: {}", args.reason.trim());
        // The state is kept until the next look closes it and tells.
        let noted = Transition::between(24, alert, &next, now, person.id.as_str(), &why, None);
        Ok::<_, crate::domain::alert::TakeOutError>((next, noted))
    };
    by_hand(house, &record, &act, now)?.map_err(|error| CliError::bad_input(error.to_string()))?;
    Ok(CommandOutput {
        text: format!(
            "{} will be taken back with the next round, and everybody who was told hears so. Where the record still says the same, it is raised anew: correct the record first.\n",
            args.id
        ),
        json: json!({ "alert": args.id, "by": person.id, "reason": args.reason.trim() }),
        exit: Exit::Done,
    })
}
