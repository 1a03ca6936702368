//! `rimeward alerts shelve`: puts an alert aside until a time, with a reason. `unshelve`: takes it back.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::found::{find, shelver};
use super::{CliError, CommandOutput, Exit, parse_time};
use crate::app::alerts::by_hand::by_hand;
use crate::app::context::{AppContext, YardBook};

/// Arguments of `alerts shelve`.
#[derive(Debug, clap::Args)]
pub struct ShelveArgs {
    /// Which alert, such as freeze-B02-1
    id: String,
    /// Until when: 2022-11-20T12:00 (time of the place)
    #[arg(long, value_name = "TIME")]
    until: String,
    /// Why, for whoever reads the log
    #[arg(long)]
    reason: String,
    /// Who puts it aside: a person's id (default: the manager of the place)
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
}

/// Arguments of `alerts unshelve`.
#[derive(Debug, clap::Args)]
pub struct UnshelveArgs {
    /// Which alert, such as freeze-B02-1
    id: String,
    /// Who takes it back: a person's id (default: the manager of the place)
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
}

/// Puts one alert aside.
///
/// # Errors
/// [`CliError`]: no such alert or person, a time that is not one, or longer than the limits allow.
pub fn shelve(
    args: &ShelveArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, &args.id)?;
    let zone = yard.zone(&record.site);
    let until = parse_time(&args.until, zone)?.with_timezone(&zone);
    let person = shelver(yard, &record, args.by.as_deref())?;
    by_hand(
        house,
        &record,
        &|alert, owner| alert.shelve((person, owner), until, &args.reason, now),
        now,
    )?
    .map_err(|error| CliError::bad_input(error.to_string()))?;
    Ok(CommandOutput {
        text: format!(
            "{} is put aside until {} by {}: {}\nWhat becomes worse than was told takes it off the shelf earlier.\n",
            args.id,
            until.format("%a %-d %b %Y %H:%M %Z"),
            person.name,
            args.reason.trim()
        ),
        json: json!({
            "alert": args.id,
            "until": until.to_rfc3339(),
            "by": person.id,
            "reason": args.reason.trim(),
        }),
        exit: Exit::Done,
    })
}

/// Takes one alert off the shelf.
///
/// # Errors
/// [`CliError`]: no such alert or person, or it is not on the shelf.
pub fn unshelve(
    args: &UnshelveArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, &args.id)?;
    let person = shelver(yard, &record, args.by.as_deref())?;
    let change = by_hand(house, &record, &|alert, owner| alert.unshelve(person, owner, now), now)?
        .map_err(|error| CliError::bad_input(error.to_string()))?;
    Ok(CommandOutput {
        text: format!("{}: {change}, taken off the shelf by {}\n", args.id, person.name),
        json: json!({ "alert": args.id, "change": change, "by": person.id }),
        exit: Exit::Done,
    })
}
