//! `rimeward record PLACE reading low=-6.5C`: what a place's thermometer showed this morning, by hand. It is read by the same
//! rules as a table of readings.

use chrono::NaiveTime;
use chrono_tz::Tz;
use serde_json::json;

use super::super::{CliContext, CliError, CommandOutput, Exit};
use super::args::RecordArgs;
use crate::adapters::intake;
use crate::adapters::intake::layout::Layout;
use crate::app::assess::AsOf;
use crate::app::assess::outlook::Forecasts;
use crate::domain::units::{Celsius, in_both_scales};
use crate::domain::yard::Site;

/// Words for such an entry.
const WORDS: [&str; 4] = ["reading", "thermometer", "low", "min_max"];
const HOW: &str = "such as: rimeward record PLACE reading low=-6.5C high=2C --happened 2022-11-12";

/// Is this entry a reading of a place's thermometer?
pub(super) fn is_meant(event: &str) -> bool {
    let word = event.trim().to_lowercase().replace([' ', '-'], "_");
    WORDS.contains(&word.as_str())
}

/// Keeps the reading, and says what it is and what the place's nights have taught with it.
///
/// # Errors
/// [`CliError`]: no low, a temperature without its scale, a morning that is none or lies ahead, the store.
pub(super) fn record(
    args: &RecordArgs,
    site: &Site,
    (forecasts, zone): (Forecasts<'_>, Tz),
    around: &CliContext<'_>,
) -> Result<CommandOutput, CliError> {
    if args.evidence.is_some() || args.by.is_some() {
        return Err(CliError::bad_input(format!(
            "a thermometer's reading has no --evidence and no --by; {HOW}"
        )));
    }
    let (mut heads, mut cells) = (vec!["site_id", "morning"], vec![site.id.as_str().to_owned()]);
    let today = around.now.with_timezone(&zone).date_naive();
    cells.push(match args.happened.as_deref().map(str::trim) {
        None | Some("today" | "now") => today.to_string(),
        Some("yesterday") => today.pred_opt().unwrap_or(today).to_string(),
        // The hour at which it was read does not matter: the night before that morning is meant.
        Some(text) if NaiveTime::parse_from_str(text, "%H:%M").is_ok() => today.to_string(),
        Some(text) => text.split(['T', ' ']).next().unwrap_or(text).to_owned(),
    });
    for fact in &args.facts {
        let Some((key, value)) = fact.split_once('=') else {
            return Err(CliError::bad_input(format!("{fact:?} is no KEY=VALUE; {HOW}")));
        };
        let (head, value) = temperature(key.trim(), value.trim())?;
        heads.push(head);
        cells.push(value);
    }
    let table = one_row(&heads, &cells)?;
    let layout = Layout::default();
    let sites = std::slice::from_ref(site);
    let name = "the reading";
    let read = intake::csv::readings(&table, name, (&layout, sites), around.now)
        .map_err(|problems| CliError::bad_input(problems.to_string()))?;
    let night = read.rows.first().ok_or_else(|| CliError::bad_input(HOW))?;
    let both = |c: f64| in_both_scales(Celsius::clamped(c), site.usual_scale());
    let high =
        night.high_c.map_or_else(String::new, |c| format!(", high of the day before {}", both(c)));
    let mut text = format!(
        "{}, night before {}: low {}{high}.\n",
        site.name,
        night.morning.format("%a %-d %b %Y"),
        both(night.low_c)
    );
    let kept = if args.dry_run { 0 } else { forecasts.store.put_nights(&read.rows, around.now)? };
    text += match (args.dry_run, kept) {
        (true, _) => "Nothing was kept.\n",
        (false, 0) => "That stands there already.\n",
        (false, _) => "Kept. A wrong one is put right by the right one for the same morning.\n",
    };
    let lesson = forecasts.lesson_of(site, AsOf::now(around.now))?;
    if let Some(own) = &lesson.own {
        text += &super::super::place::learned(site, own, &lesson);
    }
    let json = json!({ "reading": night, "kept": kept > 0, "learned": lesson.own });
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The column of a stated temperature, and its number.
fn temperature(key: &str, value: &str) -> Result<(&'static str, String), CliError> {
    let plain = value.trim_end_matches(['°', ' ']);
    let (number, scale) = match plain.char_indices().next_back() {
        Some((at, scale @ ('C' | 'c' | 'F' | 'f'))) => {
            (plain.get(..at), Some(scale.to_ascii_lowercase()))
        }
        _ => (Some(plain), None),
    };
    let number = number.unwrap_or_default().trim_end_matches(['°', ' ']).to_owned();
    let head = match (key, scale) {
        ("low", Some('c')) | ("low_c", None | Some('c')) => "low_c",
        ("low", Some('f')) | ("low_f", None | Some('f')) => "low_f",
        ("high", Some('c')) | ("high_c", None | Some('c')) => "high_c",
        ("high", Some('f')) | ("high_f", None | Some('f')) => "high_f",
        ("low" | "high", _) => {
            return Err(CliError::bad_input(format!(
                "{key}={value}: in C or in F? Write {key}={value}C or {key}={value}F"
            )));
        }
        _ => return Err(CliError::bad_input(format!("{key}={value} is not known here; {HOW}"))),
    };
    Ok((head, number))
}

fn one_row(heads: &[&str], cells: &[String]) -> Result<Vec<u8>, CliError> {
    let trouble = |error: csv::Error| CliError::failed(error.to_string());
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(heads).map_err(trouble)?;
    table.write_record(cells).map_err(trouble)?;
    table.into_inner().map_err(|error| CliError::failed(error.to_string()))
}
