//! `rimeward import`: the yard's own tables, all rows or none.

use std::path::PathBuf;

use serde_json::json;

use super::{Exit, Refusal, Said, Surroundings};
use crate::intake;
use crate::service::house::ServiceError;
use crate::service::salt;

/// The longest table that is read, in bytes.
const FILE_BYTES_MAX: u64 = 64 * 1024 * 1024;

/// Free texts of an event that get a salt of their own, at most.
const TEXTS_PER_EVENT: usize = 8;

/// Arguments of `import`.
#[derive(Debug, clap::Args)]
pub struct ImportArgs {
    /// Which table
    #[arg(value_enum)]
    table: Table,
    /// The file: CSV with a header line
    file: PathBuf,
    /// Say what would happen and change nothing
    #[arg(long)]
    dry_run: bool,
}

/// The tables that can be brought in, in the order in which they build on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Table {
    /// Storage places
    Sites,
    /// Owners, managers, technicians, operators
    People,
    /// Boats
    Boats,
    /// Lay-up events
    Events,
}

/// Reads a table and keeps it; importing the same table twice changes nothing.
///
/// # Errors
/// [`Refusal`] with every bad row, or the store's trouble.
pub fn import(args: &ImportArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let house = around.house()?;
    let name = args.file.display().to_string();
    let unreadable = |error: std::io::Error| {
        Refusal::bad_input(format!("cannot read {name}: {error}; check the path"))
    };
    let length = std::fs::metadata(&args.file).map_err(unreadable)?.len();
    if length > FILE_BYTES_MAX {
        return Err(Refusal::bad_input(format!(
            "{name} has {length} bytes, more than the {FILE_BYTES_MAX} that are read; split it"
        )));
    }
    let bytes = std::fs::read(&args.file).map_err(unreadable)?;
    let refuse = |problems: intake::ImportProblems| Refusal::bad_input(problems.to_string());
    let store = &house.store;
    let (sites, boats) = (house.store.sites(), house.store.boats());
    let sites = sites.map_err(ServiceError::from)?;
    let boats = boats.map_err(ServiceError::from)?;
    let known = intake::Known::catalogue(&house.catalogue).with_sites(&sites).with_now(around.now);
    let notes;
    let (read, changed) = match args.table {
        Table::Sites => {
            let read = intake::csv::sites(&bytes, &name).map_err(refuse)?;
            notes = read.notes;
            let sites = read.rows;
            let kept = (!args.dry_run).then(|| store.put_yard(&sites, &[], &[])).transpose();
            (sites.len(), kept.map_err(ServiceError::from)?.map(|c| c.added + c.changed))
        }
        Table::People => {
            let read = intake::csv::people(&bytes, &name).map_err(refuse)?;
            notes = read.notes;
            let people = read.rows;
            let kept = (!args.dry_run).then(|| store.put_yard(&[], &people, &[])).transpose();
            (people.len(), kept.map_err(ServiceError::from)?.map(|c| c.added + c.changed))
        }
        Table::Boats => {
            let read = intake::csv::boats(&bytes, &name, &known).map_err(refuse)?;
            notes = read.notes;
            let boats = read.rows;
            let kept = (!args.dry_run).then(|| store.put_yard(&[], &[], &boats)).transpose();
            (boats.len(), kept.map_err(ServiceError::from)?.map(|c| c.added + c.changed))
        }
        Table::Events => {
            let known = known.with_boats(&boats);
            let read = intake::csv::events(&bytes, &name, &known).map_err(refuse)?;
            notes = read.notes;
            let events = read.rows;
            let mut salt = salt::random(events.len() * TEXTS_PER_EVENT)?;
            let kept = (!args.dry_run)
                .then(|| store.append_events(&events, around.now, &mut salt))
                .transpose();
            (events.len(), kept.map_err(ServiceError::from)?.map(|appended| appended.added))
        }
    };
    let mut text = match changed {
        Some(0) => format!("{name}: {read} rows, nothing new\n"),
        Some(changed) => format!("{name}: {read} rows, {changed} new or changed\n"),
        None => format!("{name}: {read} rows can be brought in; nothing was changed (--dry-run)\n"),
    };
    for note in &notes {
        text += &format!("note: {note}\n");
    }
    let json = json!({ "file": name, "rows": read, "changed": changed, "notes": notes });
    Ok(Said { text, json, exit: Exit::Done })
}
