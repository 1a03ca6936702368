//! `rimeward winter`: one boat's winter on one page, for the owner, the surveyor, the insurer. No adjectives, no cause.
//!
//! What was entered and when, what was forecast as it stood, who was told: from the append-only tables, nothing computed
//! anew but what is in each circuit.

mod parts;

use std::fmt::Write as _;
use std::path::PathBuf;

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::{CliContext, CliError, CommandOutput, Exit, boat::look_up, page, parse_time};
use crate::app::context::YardBook;
use crate::app::ports::AlertFilter;
use crate::app::ports::AppStore;
use crate::domain::boat::{Spells, fold, uncleared};
use crate::domain::catalogue::Catalogue;
use crate::domain::local_time;
use crate::domain::season::Hemisphere;
use parts::Book;

/// The page, printed by the browser.
const PAGE: &str = include_str!("../../config/catalogue/winter.html");
/// Text lines are broken here.
const COLUMNS: usize = 100;

/// Arguments of `winter`.
#[derive(Debug, clap::Args)]
pub struct WinterArgs {
    /// The boat, as the yard numbers it
    boat: String,
    /// From this day on (default: the last 1 June, when the sheet before ended; in the south 1 December)
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// Until this time, as known then (default: now)
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Write a page for the printer here instead of text
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// The winter of a boat on one page.
///
/// # Errors
/// [`CliError`]: an unknown boat or place, a time that is none, the store, a file that cannot be written.
pub fn run(args: &WinterArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let yard = house.yard()?;
    let boat = look_up(&args.boat, &yard)?;
    let zone = yard.zone(&boat.site);
    let at = around.time_or_now(args.at.as_deref(), zone)?;
    let from = match args.from.as_deref() {
        Some(text) => parse_time(text, zone)?,
        None => season_start(&house.catalogue, &yard, boat, at),
    };
    let json = document((&*house.store, &house.catalogue), &yard, boat, (from, at))?;
    let text = match &args.html {
        Some(path) => page::write(PAGE, &json, path)?,
        None => in_text(&json),
    };
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The day on which the sheet before ended: the first of the month of the table, half a year later in the south.
fn season_start(
    catalogue: &Catalogue,
    yard: &YardBook,
    boat: &crate::domain::boat::Boat,
    at: DateTime<Utc>,
) -> DateTime<Utc> {
    let zone = yard.zone(&boat.site);
    let ends = catalogue.limits().season_ends_month;
    let month = yard.hemisphere(&boat.site).month_of_table(ends);
    Hemisphere::last_first_of(month, at.with_timezone(&zone).date_naive())
        .map_or(at, |day| local_time::day_start(zone, day))
}

/// Everything on the page.
fn document(
    (store, catalogue): (&dyn AppStore, &Catalogue),
    yard: &YardBook,
    boat: &crate::domain::boat::Boat,
    (from, at): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Value, CliError> {
    let entries = store.log_entries()?;
    let events: Vec<_> = entries.iter().map(|entry| entry.event.clone()).collect();
    let state = fold(boat, &yard.sites, &events, at, at, catalogue);
    let site = yard.sites.get(&state.site).ok_or_else(|| {
        CliError::failed(format!("{} stands at {}, which is not listed", boat.id, state.site))
    })?;
    let book = Book { yard, site, catalogue };
    let spells = store.exposures(Some(&boat.id))?;
    let open = uncleared(&spells, &events, at, at, catalogue);
    let nights: Vec<Value> = spells
        .iter()
        .filter(|spell| spell.to >= from && spell.from <= at)
        .map(|spell| {
            json!({
                "words": Spells::of(spell, at).words(catalogue, site.usual_scale(), site.time_zone),
                "cleared_by": spell.cleared_by(&events, at, at, catalogue),
                "open": open.contains(&spell),
            })
        })
        .collect();
    let filter = AlertFilter { boat: Some(boat.id.clone()), ..AlertFilter::default() };
    let mut alerts = Vec::new();
    for alert in store.alert_records(&filter)?.iter().filter(|alert| alert.raised_at <= at) {
        if alert.closed_at.is_some_and(|closed| closed < from) {
            continue;
        }
        let transitions = store.transitions(&alert.id)?;
        let letters = store.letters(Some(&alert.id))?;
        alerts.push(book.alert(alert, &transitions, &letters, at));
    }
    let report = store.verify_log(None)?;
    let own = store.verify_log(Some(&boat.id))?;
    let in_time = |entry: &&crate::app::ports::Entry| {
        let event = &entry.event;
        let about = event.boat.as_ref() == Some(&boat.id)
            || (event.boat.is_none() && event.site.as_ref() == Some(&state.site));
        about && (from..=at).contains(&event.happened_at) && event.recorded_at <= at
    };
    let mut told: Vec<_> = entries.iter().filter(in_time).collect();
    told.sort_by_key(|entry| (entry.event.happened_at, entry.seq));
    Ok(json!({
        "title": format!("{} ({}): winter record", boat.name, boat.id),
        "boat": boat.id,
        "facts": book.facts(boat, &state, (from, at)),
        "timeline": told.iter().map(|entry| book.entry(entry)).collect::<Vec<_>>(),
        "circuits": state.circuits.iter().map(|circuit| book.circuit(circuit)).collect::<Vec<_>>(),
        "readings": told.iter().filter_map(|entry| book.reading(&entry.event)).collect::<Vec<_>>(),
        "test_before_running": state.test_before_running,
        "nights": nights,
        "alerts": alerts,
        "open_questions": state.open_questions,
        "chain": {
            "head": report.head,
            "rows": report.rows,
            "holds": report.first_broken.is_none(),
            "boat_head": own.head,
            "boat_rows": own.rows,
        },
        "is_not": IS_NOT,
    }))
}

/// What the page is not.
const IS_NOT: [&str; 6] = [
    "Data as entered; not verified by us. A grade says how something is known, not that it is so.",
    "Forecasts stand here as they stood when they were used. They are forecasts for the place, not measurements on the boat.",
    "Not a survey, and no statement of cause.",
    "Not an insurance document; your policy's wording decides.",
    "Not an official weather warning or weather certificate.",
    "Corrections are entries of their own; nothing was overwritten. Whoever wrote the head of the chain down earlier can check that.",
];

// Writing to a String cannot fail, so the results of `write!` are let go.
fn in_text(page: &Value) -> String {
    let word = |value: &Value, key: &str| value[key].as_str().unwrap_or_default().to_owned();
    let each = |key: &str| page[key].as_array().cloned().unwrap_or_default();
    let mut text = format!("{}\n", word(page, "title"));
    for fact in each("facts") {
        text += &page::wrapped(fact.as_str().unwrap_or_default(), "  ", COLUMNS);
    }
    let _ = writeln!(text, "\nTimeline (when it happened; when the yard learnt of it)");
    for row in each("timeline") {
        let line = format!(
            "{}; {}: {} {} [{}]",
            word(&row, "happened"),
            word(&row, "recorded"),
            word(&row, "what"),
            word(&row, "details"),
            word(&row, "id")
        );
        text += &page::wrapped(&line, "    ", COLUMNS);
    }
    let _ = writeln!(text, "\nCircuits at the end");
    for row in each("circuits") {
        let line = format!(
            "{}: {}; evidence {}; {}",
            word(&row, "name"),
            word(&row, "holds"),
            word(&row, "evidence"),
            word(&row, "limit")
        );
        text += &page::wrapped(&line, "    ", COLUMNS);
    }
    for (key, title, field) in [
        ("readings", "Readings", "line"),
        ("nights", "Past their own limit (forecast, not measured, unless it says so)", "words"),
        ("alerts", "Forecasts as they stood and who was told", "line"),
    ] {
        let rows = each(key);
        let _ = writeln!(text, "\n{title}");
        if rows.is_empty() {
            text.push_str("none on record\n");
        }
        for row in rows {
            text += &page::wrapped(&word(&row, field), "    ", COLUMNS);
            for told in row.get("told").and_then(Value::as_array).into_iter().flatten() {
                text += &page::wrapped(&format!("  {}", word(told, "line")), "    ", COLUMNS);
            }
        }
    }
    let _ = writeln!(text, "\nHead of the log's chain: {}", word(&page["chain"], "head"));
    for line in each("is_not") {
        text += &page::wrapped(line.as_str().unwrap_or_default(), "  ", COLUMNS);
    }
    text
}
