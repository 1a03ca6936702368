//! `rimeward alerts cap`: an alert as a CAP 1.2 document, from what was stored when it was told.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::found::{find, read};
use super::{CliError, CommandOutput, Exit};
use crate::app::context::{AppContext, YardBook};
use crate::app::notify::label_of;
use crate::app::ports::{TEXTS, WEBHOOKS};
use crate::domain::alert::{Facts, Kind};
use crate::domain::message::cap::{CapContext, document};

/// What to do, in short: the letters say more.
const fn instruction(kind: Kind, frozen: bool) -> &'static str {
    match kind {
        _ if frozen => {
            "Start nothing and do not turn on the water until somebody has looked and tested. Leave it as it is."
        }
        Kind::Heat => {
            "Look at the heat: power, fuel, thermostat, doors. What does not come back by itself is work for a technician."
        }
        Kind::Blind => "Keep to the last advice and look at the official forecast.",
        Kind::Unreachable => "Call the person by telephone.",
        Kind::Freeze | Kind::Blend | Kind::Deadline => {
            "Have what still holds water or weak antifreeze seen to by the engine maker's procedure, or by the yard. If you cannot reach the boat without danger, do not go."
        }
    }
}

/// Prints one alert as CAP 1.2.
///
/// # Errors
/// [`CliError`]: no such alert, nobody was told of it yet, the store.
pub fn cap(
    id: &str,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, id)?;
    let alert = read(&record)?;
    let site = yard.sites.get(&alert.site).ok_or_else(|| {
        CliError::failed(format!("{id} is about {}, which is not listed", alert.site))
    })?;
    if alert.told.is_empty() {
        return Err(CliError::bad_input(format!(
            "nobody has been told of {id} yet: there is no message to write as CAP"
        )));
    }
    let boat = alert.subject.boat().and_then(|id| yard.boats.iter().find(|boat| boat.id == *id));
    let letters = house.store.letters(Some(id))?;
    let mut letters = letters.iter().map(|letter| &letter.row);
    let subject = letters
        .rfind(|row| row.channel != TEXTS && row.channel != WEBHOOKS)
        .map_or_else(|| id.to_owned(), |row| row.subject.clone());
    let moves = house.store.transitions(id)?;
    // What the rules say; what a person has typed about it is nobody else's.
    let by_rule = moves.iter().rfind(|row| {
        row.decided_on.pointer("/transition/actor").is_some_and(|actor| actor == "rule")
    });
    let why = by_rule.and_then(|row| row.decided_on.pointer("/transition/reason")?.as_str());
    let parts: Vec<String> = alert
        .decided_on
        .iter()
        .flat_map(Facts::active)
        .map(|row| label_of(&house.catalogue, &row.circuit))
        .collect();
    let mut description = vec![format!("Decided because: {}.", why.unwrap_or("not stored"))];
    if !parts.is_empty() {
        description.push(format!("In danger when it was told: {}.", parts.join(", ")));
    }
    let frozen = alert.known.iter().any(|known| known.frozen);
    let context = CapContext {
        domain: house.settings.mail.from.rsplit_once('@').map_or("localhost", |(_, of)| of),
        desk: &format!("{} freeze desk", house.settings.yard.name),
        site,
        boat: boat.map(|boat| boat.name.as_str()),
        headline: &subject,
        description: &description.join(" "),
        instruction: instruction(alert.kind, frozen),
    };
    let text = document(&alert, &context, now)
        .map_err(|error| CliError::failed(format!("writing {id} as CAP: {error}")))?;
    Ok(CommandOutput { json: json!({ "alert": id, "cap": text }), text, exit: Exit::Done })
}
