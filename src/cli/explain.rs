//! `rimeward alerts explain`: why, in words and numbers, from what was stored at each decision. Nothing is computed anew,
//! so that a year later it says the same.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;
use serde_json::Value;

use super::found::{find, local, rfc, subject};
use super::{CliError, CommandOutput, Exit, as_json};
use crate::app::context::{AppContext, YardBook};
use crate::app::ports::TransitionRow;
use crate::domain::alert::{Facts, Low, Transition};
use crate::domain::catalogue::Catalogue;
use crate::domain::message::words::{temperature, temperature_range, work};
use crate::domain::risk::CircuitRisk;
use crate::domain::units::TemperatureScale;
use crate::views::alert::{DecisionLine, ReasonsView};

/// Prints every decision about one alert.
///
/// # Errors
/// [`CliError`]: no such alert, the store.
pub fn explain(
    (house, yard): (&AppContext, &YardBook),
    id: &str,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, id)?;
    let zone = yard.zone(&record.site);
    let scale =
        yard.sites.get(&record.site).map_or_else(Default::default, |site| site.usual_scale());
    let tongue = Tongue { zone, scale, catalogue: &house.catalogue };
    let mut text = format!("{id}: {}\n", subject(&record, yard));
    let mut transitions = Vec::new();
    for row in &house.store.transitions(id)? {
        text += &tongue.step(row);
        transitions.push(DecisionLine {
            at: rfc(row.at, zone),
            revision: row.revision,
            change: row.change.clone(),
            decided_on: row.decided_on.clone(),
        });
    }
    text += "\nThese are the numbers as they were stored then; nothing was computed anew.\n";
    let json = as_json(&ReasonsView { id: id.to_owned(), transitions })?;
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The place's clock and scale, and names for people.
struct Tongue<'a> {
    zone: Tz,
    scale: TemperatureScale,
    catalogue: &'a Catalogue,
}

impl Tongue<'_> {
    /// One row of the log: what moved, who moved it, why, on which numbers.
    fn step(&self, row: &TransitionRow) -> String {
        let stored = |part: &str| row.decided_on.get(part).cloned().unwrap_or(Value::Null);
        let mut text = format!("\n{}  {}", local(row.at, self.zone), row.change);
        if let Ok(moved) = serde_json::from_value::<Transition>(stored("transition")) {
            let actor =
                if moved.actor == "rule" { String::new() } else { format!(" by {}", moved.actor) };
            text += &format!("{actor}: {} (row {} of the table)", moved.reason, moved.row);
        }
        text.push('\n');
        match serde_json::from_value::<Facts>(stored("facts")) {
            Ok(facts) => text += &self.facts(&facts),
            // Written by another version: as it stands, rather than nothing.
            Err(_) if !stored("facts").is_null() => text += &format!("  {}\n", stored("facts")),
            Err(_) => {}
        }
        text
    }

    fn facts(&self, facts: &Facts) -> String {
        let issued = facts.issued_at.map_or_else(
            || "none usable".to_owned(),
            |at| format!("{} issued {}, {}", facts.service, self.time(at), plain(&facts.forecast)),
        );
        let mut text = format!("  forecast: {issued}\n");
        if let Some(low) = &facts.low {
            text += &format!("  low before {}: {}\n", self.time(facts.until), self.low(low));
        }
        let near = facts.rows.get(facts.active().len()..).unwrap_or(&[]);
        for (title, rows) in [("over its limit", facts.active()), ("looked at too", near)] {
            for row in rows {
                text += &format!("  {title}: {}\n", self.circuit(row));
            }
        }
        if !facts.active().is_empty() {
            let start = facts
                .latest_start
                .map_or_else(String::new, |at| format!(", latest start {}", self.time(at)));
            let priority = plain(&facts.priority);
            text += &format!("  work: {}{start}; priority {priority}\n", work(facts.minutes));
        }
        text
    }

    fn low(&self, low: &Low) -> String {
        format!(
            "{}, 80 % range {}, about {}",
            temperature(low.median_c, self.scale),
            temperature_range(low.p10_c, low.p90_c, self.scale),
            self.time(low.time)
        )
    }

    fn circuit(&self, row: &CircuitRisk) -> String {
        let name = self
            .catalogue
            .circuit(&row.circuit)
            .map_or_else(|| row.circuit.as_str().to_owned(), |kind| kind.label.clone());
        let instance = row.instance.as_ref().map_or_else(String::new, |one| format!(" ({one})"));
        let state = if row.frozen_now {
            "past its limit by our reckoning".to_owned()
        } else {
            format!("{:.1} % to pass its limit of {}", row.chance_limit * 100.0, plain(&row.limit))
        };
        let danger = row
            .first_danger
            .map_or_else(String::new, |at| format!(", first danger {}", self.time(at)));
        let why =
            if row.why.is_empty() { String::new() } else { format!(" [{}]", row.why.join("; ")) };
        format!("{name}{instance}, {} harm: {state}{danger}{why}", plain(&row.consequence))
    }

    fn time(&self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.zone).format("%a %-d %b %H:%M").to_string()
    }
}

/// A word of a stored document for people.
fn plain(value: &impl Serialize) -> String {
    let word = serde_json::to_value(value).ok();
    let word = word.as_ref().and_then(Value::as_str).unwrap_or_default();
    word.replace('_', " ")
}
