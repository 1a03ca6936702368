//! `rimeward plan`: which boats first, by which day to start, what falls short, and what to drain tonight. Sends nothing.

mod below;
mod beside;
mod page;
mod sheet;
mod text;
mod view;
mod entries;

use std::path::{Path, PathBuf};

use super::{CliContext, CliError, CommandOutput, Exit, as_json};
use crate::app::error::ServiceError;
use crate::app::planning::{WhatIf, lines::permission, plan_at};

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
        ServiceError::Crew(error) => CliError::bad_input(error.to_string()),
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
    Ok(CommandOutput { text, json: as_json(&view::plan_view(&plan, &what_if))?, exit })
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
