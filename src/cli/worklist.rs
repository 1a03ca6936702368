//! `rimeward worklist`: what is at risk, ranked. Sends nothing.

use super::{CliContext, CliError, CommandOutput, Exit, as_json};
use crate::app::assess::view::worklist_view;
use crate::app::assess::{Assessment, assess};
use crate::domain::boat::{BoatId, SiteId};
use crate::domain::catalogue::Catalogue;
use crate::domain::risk::power;

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
    Ok(CommandOutput { text, json: as_json(&worklist_view(&seen))?, exit })
}

/// One line for each boat that holds only while the power of its place is on: its soonest circuit.
fn only_while_powered(assessment: &Assessment, catalogue: &Catalogue) -> String {
    let line = |view: &crate::app::assess::AssessedBoat| {
        let loss = power::soonest(&view.if_power_fails)?;
        let label = catalogue
            .circuit(&loss.circuit)
            .map_or(loss.circuit.as_str(), |kind| kind.label.as_str());
        Some(format!("{} {label}: {}\n", view.boat.id, power::words(loss)))
    };
    let lines: String = assessment.boats.iter().filter_map(line).collect();
    if lines.is_empty() { lines } else { format!("\n{lines}") }
}
