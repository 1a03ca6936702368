//! `rimeward boat`: what is in each circuit, since when, on what evidence, what undid it, to what it holds.
//!
//! Two faces of one [`BoatState`]: the JSON of the contract and the people's text. Nothing here judges.

use std::fmt::Write as _;

use chrono::{DateTime, Utc};

use super::{CliContext, CliError, CommandOutput, Exit, as_json};
use crate::app::context::YardBook;
use crate::domain::boat::{Boat, BoatState, CircuitState, Evidence, Holds, Mark};
use crate::domain::boat::{BoatId, Spells, fold, uncleared};
use crate::domain::catalogue::{Catalogue, Confinement};
use crate::domain::units::{Celsius, in_both_scales};
use crate::domain::yard::Site;
use crate::views::boat::BoatView;

/// Arguments of `boat`.
#[derive(Debug, clap::Args)]
pub struct BoatArgs {
    /// The boat, as the yard numbers it
    boat: String,
    /// At this time instead of now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Only what was known by then (default: as known at that time)
    #[arg(long, value_name = "TIME")]
    known_at: Option<String>,
}

/// What is in each circuit of a boat.
///
/// # Errors
/// [`CliError`]: an unknown boat or place, a time that is none, the store.
pub fn run(args: &BoatArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let yard = house.yard()?;
    let boat = look_up(&args.boat, &yard)?;
    let id = boat.id.clone();
    let zone = yard.zone(&boat.site);
    let instant = around.instant((args.at.as_deref(), args.known_at.as_deref()), zone)?;
    let events = house.store.all_events()?;
    let own = events.into_iter().filter(|event| event.boat.as_ref().is_none_or(|b| *b == id));
    let events: Vec<_> = own.collect();
    let state = fold(boat, &yard.sites, &events, instant.at, instant.known_at, &house.catalogue);
    let site = yard.sites.get(&state.site).ok_or_else(|| {
        CliError::failed(format!("{id} stands at {}, which is not among the places", state.site))
    })?;
    let mut state = state;
    let spells = house.store.exposures(Some(&id))?;
    let open = uncleared(&spells, &events, instant.at, instant.known_at, &house.catalogue);
    for spell in Spells::together(&open, instant.at.min(instant.known_at)) {
        let line = spell.words(&house.catalogue, site.usual_scale(), site.time_zone);
        state.test_before_running.push(line);
    }
    let mut text = render_text(&state, boat, site, &house.catalogue);
    if let Some(code) = boat.key_code() {
        // For whoever sits at the desk: lists and mail carry the code only.
        text += &format!("\nKey ({code} on lists): {}\n", boat.keys);
    }
    Ok(CommandOutput {
        text,
        json: as_json(&BoatView::of(&state, site.time_zone))?,
        exit: Exit::Done,
    })
}

/// The boat with this number.
///
/// # Errors
/// The nearest right number.
pub(super) fn look_up<'a>(words: &str, yard: &'a YardBook) -> Result<&'a Boat, CliError> {
    let id = BoatId::from(words);
    yard.boats.iter().find(|boat| boat.id == id).ok_or_else(|| {
        let known = yard.boats.iter().map(|boat| boat.id.as_str());
        let nearest = crate::domain::catalogue::nearest(words, known);
        let hint = nearest.map(|id| format!("; did you mean {id}?")).unwrap_or_default();
        CliError::bad_input(format!("no boat is called {words}{hint}"))
    })
}

/// The people's text: local times, both scales of temperature with the place's own first.
#[must_use]
pub fn render_text(state: &BoatState, boat: &Boat, site: &Site, catalogue: &Catalogue) -> String {
    let mut text = String::new();
    head(&mut text, state, boat, site);
    // What is alike in every word is told once, for all of them.
    let mut rest = state.circuits.as_slice();
    while let Some(first) = rest.first() {
        let alike = rest.iter().take_while(|other| reads_alike(first, other)).count();
        let (group, after) = rest.split_at(alike);
        circuit_lines(&mut text, first, group, site, catalogue);
        rest = after;
    }
    list(&mut text, "Test before running", &state.test_before_running);
    list(&mut text, "To find out about the boat", &state.open_questions);
    text.push_str("\nRecord says; not verified by us. Follow the engine maker's cold-weather procedure: this list only \
         says which circuits are open questions.\n");
    if !state.test_before_running.is_empty() {
        text.push_str(
            "If any part may already have frozen, do not start the engine or turn on the water.\n",
        );
    }
    text.push_str("This is not an insurance document; your policy's wording decides.\n");
    text
}

// Writing to a String cannot fail, so the results of `write!` are let go below.

fn head(text: &mut String, state: &BoatState, boat: &Boat, site: &Site) {
    let lies = if state.afloat { "afloat" } else { "ashore" };
    let cover = if state.covered { ", covered" } else { "" };
    let _ = writeln!(text, "{} ({}), {}: {lies}{cover}", boat.name, boat.id, site.name);
    let _ = write!(text, "At {}", local(state.at, site));
    if state.known_at != state.at {
        let _ = write!(text, ", by what was known at {}", local(state.known_at, site));
    }
    text.push('\n');
    if !boat.remarks().is_empty() {
        let _ = writeln!(text, "Yard's note: {}", boat.remarks());
    }
    for mitigation in &state.mitigations {
        let on = if mitigation.on { "on" } else { "off" };
        let _ = writeln!(
            text,
            "{} {on} since {} ({}); it hangs on power and changes no circuit",
            match mitigation.kind.as_str() {
                "heat" => "Heat",
                "deicer" => "De-icer",
                "charger" => "Battery charger",
                other => other,
            },
            local(mitigation.since, site),
            mitigation.event
        );
    }
}

fn reads_alike(one: &CircuitState, other: &CircuitState) -> bool {
    let account = |circuit: &CircuitState| {
        (
            circuit.holds,
            circuit.evidence,
            circuit.closed_pocket,
            circuit.since,
            circuit.first_ice.map(Celsius::value),
        )
    };
    account(one) == account(other)
        && one.because == other.because
        && one.undone_by == other.undone_by
        && one.open_questions == other.open_questions
}

fn circuit_lines(
    text: &mut String,
    circuit: &CircuitState,
    group: &[CircuitState],
    site: &Site,
    catalogue: &Catalogue,
) {
    let names: Vec<String> = group
        .iter()
        .map(|circuit| format!("{}{}", name(circuit, catalogue), by_mark(circuit.fitted)))
        .collect();
    let chemical = catalogue
        .circuit(&circuit.circuit)
        .is_some_and(|kind| kind.confinement == Confinement::Chemical);
    let words = if chemical && circuit.holds == Holds::Unknown {
        "charge not known"
    } else {
        in_words(circuit)
    };
    let _ = write!(text, "\n{}: {words}", names.join(", "));
    if let Some(since) = circuit.since {
        let _ = write!(text, ", since {}", local(since, site));
    }
    let _ = writeln!(text, "; evidence: {}", grade(circuit.evidence));
    if let Some(line) = holds_to(circuit, site) {
        let _ = writeln!(text, "  {line}");
    }
    if let Some(event) = &circuit.undone_by {
        let _ = writeln!(text, "  undone by {event}");
    }
    if !circuit.because.is_empty() {
        let _ = writeln!(text, "  why: {}", circuit.because.join("; "));
    }
    if !circuit.open_questions.is_empty() {
        let _ = writeln!(text, "  to find out: {}", circuit.open_questions.join("; "));
    }
}

pub(super) fn name(circuit: &CircuitState, catalogue: &Catalogue) -> String {
    let label = catalogue
        .circuit(&circuit.circuit)
        .map_or(circuit.circuit.as_str(), |kind| kind.label.as_str());
    match &circuit.instance {
        Some(instance) => format!("{label}, {instance} ({})", circuit.circuit),
        None => format!("{label} ({})", circuit.circuit),
    }
}

/// On whose word a part counts as fitted, where nobody has listed it.
const fn by_mark(mark: Mark) -> &'static str {
    match mark {
        Mark::Stated => "",
        Mark::Always => " [always: such boats have it]",
        Mark::Often => " [often: many such boats have it]",
        Mark::Added => " [added: implied by the cooling]",
    }
}

pub(super) fn holds_to(circuit: &CircuitState, site: &Site) -> Option<String> {
    let shown = |value: Celsius| in_both_scales(value, site.usual_scale());
    let mut line = format!("first ice at {}", shown(circuit.first_ice?));
    // Plain water goes through all three at one temperature: said once.
    if matches!(circuit.holds, Holds::Blend | Holds::Coolant) {
        for (what, at) in [("slush", circuit.slush), ("a third of it ice", circuit.burst)] {
            let _ = match at {
                Some(at) => write!(line, ", {what} at {}", shown(at)),
                None => write!(line, ", {what} colder than the data go"),
            };
        }
    }
    Some(line)
}

pub(super) fn in_words(circuit: &CircuitState) -> &'static str {
    match circuit.holds {
        Holds::Fresh => "fresh water",
        Holds::Sea => "sea water",
        Holds::Drained if circuit.closed_pocket => "called drained, but a full pocket is assumed",
        Holds::Drained => "drained, pockets may be left",
        Holds::Dry => "dry",
        Holds::Blend if circuit.first_ice.is_none() => "antifreeze of no known strength",
        Holds::Blend => "antifreeze and water",
        Holds::Coolant if circuit.first_ice.is_none() => "coolant of no known strength",
        Holds::Coolant => "coolant",
        Holds::LubeClean => "gear oil without water",
        Holds::LubeWet => "gear oil with water in it",
        Holds::Charged => "charged",
        Holds::Unknown => "not known, treated as water",
        Holds::Absent => "not fitted",
    }
}

pub(super) const fn grade(evidence: Evidence) -> &'static str {
    match evidence {
        Evidence::None => "none",
        Evidence::Claimed => "claimed",
        Evidence::Recorded => "recorded",
        Evidence::Probed => "probed",
        Evidence::Measured => "measured",
    }
}

fn list(text: &mut String, title: &str, lines: &[String]) {
    if !lines.is_empty() {
        let _ = writeln!(text, "\n{title}:");
        for line in lines {
            let _ = writeln!(text, "- {line}");
        }
    }
}

fn local(moment: DateTime<Utc>, site: &Site) -> String {
    moment.with_timezone(&site.time_zone).format("%-d %b %Y %H:%M %Z").to_string()
}
