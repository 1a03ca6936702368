//! `rimeward import`: the yard's own tables, all rows or none.

use std::path::PathBuf;

use serde_json::json;

mod keep;
mod plan;
mod told;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::intake::layout::heading;
use crate::adapters::intake::{self, DateOrder, Layout, TickColumn};
use crate::app::context::AppContext;
use crate::app::ports::AppStore;
use crate::app::ports::EventLog;
use crate::app::salt;
use crate::app::settings::Settings;
use crate::domain::boat::{Boat, Fate, LayupEvent, SiteId, revise};
use crate::domain::catalogue::Catalogue;
use crate::domain::weather::learned::ReadNight;
use crate::domain::yard::{Person, Site};
use keep::{Of, keep_absent};
use plan::Plan;

/// The longest table that is read, in bytes.
const FILE_BYTES_MAX: u64 = 64 * 1024 * 1024;

/// Entries that are named one by one.
const LEFT_NAMED: usize = 10;
/// Free texts of an event that get a salt of their own, at most.
const TEXTS_PER_EVENT: usize = 3;

/// Notes that are printed; all of them stand in the JSON.
const NOTES_MAX: usize = 60;

/// Arguments of `import`.
#[derive(Debug, clap::Args)]
pub struct ImportArgs {
    /// Which table
    #[arg(value_enum)]
    table: Kind,
    /// The file: CSV or XLSX with a header line
    file: PathBuf,
    /// Say what would happen and change nothing
    #[arg(long)]
    dry_run: bool,
}

/// The tables that can be brought in, in the order in which they build on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Kind {
    /// Storage places
    Sites,
    /// Owners, managers, technicians, operators
    People,
    /// Boats
    Boats,
    /// Lay-up events
    Events,
    /// Nights of the places' own thermometers, or the rows of a logger
    Readings,
}

/// Reads a table and keeps it; importing the same table twice changes nothing.
///
/// # Errors
/// [`CliError`] with every bad row, or the store's trouble.
pub fn import(args: &ImportArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let name = args.file.display().to_string();
    let unreadable = |error: std::io::Error| {
        CliError::bad_input(format!("cannot read {name}: {error}; check the path"))
    };
    let length = std::fs::metadata(&args.file).map_err(unreadable)?.len();
    if length > FILE_BYTES_MAX {
        return Err(CliError::bad_input(format!(
            "{name} has {length} bytes, more than the {FILE_BYTES_MAX} that are read; split it"
        )));
    }
    let bytes = std::fs::read(&args.file).map_err(unreadable)?;
    let table = Table::read(args.table, &bytes, &name, &house, around)?;
    let (plan, changed) = table.keep(&*house.store, around, args.dry_run)?;
    let left = table.left(&*house.store, around)?;
    let mut text = format!("{name}: {} rows: {}", plan.rows.len(), plan.summary());
    text += if args.dry_run { "; nothing was changed (--dry-run)\n" } else { "\n" };
    text += &plan.lines();
    let corrected = plan.count(|fate| matches!(fate, Fate::Changed(_)));
    let mut notes = table.notes;
    if corrected > 0 && args.table == Kind::Events {
        notes.push(format!(
            "{corrected} rows say something else than the log: the log is never edited, so each is withdrawn by a correction and entered anew, as known from now on"
        ));
    }
    notes.extend(left);
    for note in notes.iter().take(NOTES_MAX) {
        text += &format!("note: {note}\n");
    }
    if notes.len() > NOTES_MAX {
        text += &format!("note: and {} more; --json has them all\n", notes.len() - NOTES_MAX);
    }
    let json = json!({
        "file": name,
        "rows": plan.rows.len(),
        "dry_run": args.dry_run,
        "changed": changed,
        "fates": plan.json(),
        "notes": notes,
    });
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The rows of a file, read and checked.
enum Rows {
    Sites(Vec<Site>),
    People(Vec<Person>),
    Boats(Vec<Boat>),
    Events(Vec<LayupEvent>),
    Readings(Vec<ReadNight>),
}

/// A file that was read whole.
struct Table {
    rows: Rows,
    notes: Vec<String>,
    /// What its columns answer about boats that are known already.
    answers: Vec<LayupEvent>,
}

impl Table {
    fn read(
        kind: Kind,
        bytes: &[u8],
        name: &str,
        house: &AppContext,
        around: &CliContext<'_>,
    ) -> Result<Self, CliError> {
        let layout = layout(&house.settings, &house.catalogue)?;
        let refuse = |problems: intake::ImportProblems| CliError::bad_input(problems.to_string());
        let store = &*house.store;
        let known = intake::Known::catalogue(&house.catalogue)
            .with_sites(&store.sites()?)
            .with_now(around.now)
            .with_layout(layout);
        let layout = &known.layout;
        let mut answers = Vec::new();
        let (rows, notes) = match kind {
            Kind::Sites => {
                let mut read = intake::csv::sites_laid_out(bytes, name, layout).map_err(refuse)?;
                let id = |site: &Site| site.id.to_string();
                let lost =
                    keep_absent(Of::Sites, &mut read.rows, &store.sites()?, &read.columns, id);
                read.notes.extend(lost);
                (Rows::Sites(read.rows), read.notes)
            }
            Kind::People => {
                // Before any place is known, nothing can be checked; the self-test looks again.
                let places = known.sites.as_ref().filter(|places| !places.is_empty());
                let mut read =
                    intake::csv::people_laid_out(bytes, name, (layout, places)).map_err(refuse)?;
                let stored = store.people()?;
                let id = |person: &Person| person.id.to_string();
                let lost = keep_absent(Of::People, &mut read.rows, &stored, &read.columns, id);
                read.notes.extend(lost);
                read.notes.extend(read.rows.iter().filter_map(without_address));
                (Rows::People(read.rows), read.notes)
            }
            Kind::Boats => {
                // Before anybody is listed, nobody can be checked; the self-test looks again.
                let people = store.people()?;
                let known = if people.is_empty() { known } else { known.with_people(&people) };
                let mut read = intake::csv::boats(bytes, name, &known).map_err(refuse)?;
                let stored = store.boats()?;
                let said = told::said(&read.rows, &read.columns);
                let id = |boat: &Boat| boat.id.to_string();
                let lost = keep_absent(Of::Boats, &mut read.rows, &stored, &read.columns, id);
                // Of a boat that is known, a table without its type guesses nothing.
                let of_type = |column: &String| column == "boat_type" || column == "engine_desc";
                if !read.columns.iter().any(of_type) {
                    let guess = |boat: &Boat| format!("{}: fit-out", boat.id);
                    read.notes
                        .retain(|note| !stored.iter().any(|boat| note.starts_with(&guess(boat))));
                }
                read.notes.extend(lost);
                let yard = house.yard()?;
                let log = store.all_events()?;
                let told = told::Told { stored: &stored, log: &log, yard: &yard, now: around.now };
                answers = told.answers(&mut read.rows, &said, &house.catalogue);
                read.notes.extend(answers.iter().map(told::in_words));
                (Rows::Boats(read.rows), read.notes)
            }
            Kind::Events => {
                let log = store.all_events()?;
                let known = known
                    .with_boats(&store.boats()?)
                    .with_people(&store.people()?)
                    .with_events(&log);
                let read = intake::csv::events(bytes, name, &known).map_err(refuse)?;
                (Rows::Events(read.rows), read.notes)
            }
            Kind::Readings => {
                let sites = store.sites()?;
                let read = intake::csv::readings(bytes, name, (layout, &sites), around.now)
                    .map_err(refuse)?;
                (Rows::Readings(read.rows), read.notes)
            }
        };
        Ok(Self { rows, notes, answers })
    }

    /// What a sheet that came before no longer has, so that nobody takes a mended date for a moved entry.
    fn left(
        &self,
        store: &dyn EventLog,
        around: &CliContext<'_>,
    ) -> Result<Option<String>, CliError> {
        let Rows::Events(events) = &self.rows else { return Ok(None) };
        let log = store.all_events()?;
        let left = revise(events, &log, &store.erased_texts()?, around.now).left;
        let told: Vec<String> = log
            .iter()
            .filter(|entry| left.contains(&entry.id))
            .map(|entry| {
                let boat = entry.boat.as_ref().map_or("a place", |boat| boat.as_str());
                let day = entry.happened_at.format("%Y-%m-%d");
                format!("{} ({boat} {} {day})", entry.id, entry.kind)
            })
            .collect();
        let more = told.len().saturating_sub(LEFT_NAMED);
        let named: Vec<&str> = told.iter().take(LEFT_NAMED).map(String::as_str).collect();
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        Ok((!told.is_empty()).then(|| {
            format!(
                "these stand in the log and not in this file: {}{more}. Where a row was mended or taken out, withdraw what it replaces: rimeward record BOAT correction corrects=ID method=void",
                named.join(", ")
            )
        }))
    }

    /// Holds the rows against the store and, unless it is a dry run, keeps them: all or none.
    fn keep(
        &self,
        store: &dyn AppStore,
        around: &CliContext<'_>,
        dry_run: bool,
    ) -> Result<(Plan, Option<usize>), CliError> {
        let (plan, changed) = match &self.rows {
            Rows::Sites(sites) => {
                let plan = Plan::against(sites, &store.sites()?, |site| site.id.as_str());
                (plan, (!dry_run).then(|| store.put_yard(sites, &[], &[])).transpose()?)
            }
            Rows::People(people) => {
                let plan = Plan::against(people, &store.people()?, |person| person.id.as_str());
                (plan, (!dry_run).then(|| store.put_yard(&[], people, &[])).transpose()?)
            }
            Rows::Boats(boats) => {
                let plan = Plan::against(boats, &store.boats()?, |boat| boat.id.as_str());
                let mut salt = salt::random(self.answers.len() * TEXTS_PER_EVENT)?;
                if !dry_run {
                    store.append_events(&self.answers, around.now, &mut salt)?;
                }
                (plan, (!dry_run).then(|| store.put_yard(&[], &[], boats)).transpose()?)
            }
            Rows::Readings(nights) => {
                let plan = against_nights(nights, store, around)?;
                let kept = (!dry_run).then(|| store.put_nights(nights, around.now)).transpose()?;
                return Ok((plan, kept));
            }
            Rows::Events(events) => {
                let log = store.all_events()?;
                let revision = revise(events, &log, &store.erased_texts()?, around.now);
                let fates = revision.fates.into_iter().map(|(id, fate)| (id.to_string(), fate));
                let plan = Plan { rows: fates.collect() };
                if dry_run {
                    return Ok((plan, None));
                }
                let mut salt = salt::random(revision.append.len() * TEXTS_PER_EVENT)?;
                let added = store.append_events(&revision.append, around.now, &mut salt)?.added;
                return Ok((plan, Some(added)));
            }
        };
        Ok((plan, changed.map(|counts| counts.added + counts.changed)))
    }
}

/// What becomes of each night, by place and morning.
fn against_nights(
    nights: &[ReadNight],
    store: &dyn AppStore,
    around: &CliContext<'_>,
) -> Result<Plan, CliError> {
    let mut stored = Vec::new();
    let mut sites: Vec<&SiteId> = nights.iter().map(|night| &night.site).collect();
    sites.dedup();
    for site in sites {
        stored.extend(store.nights(site, around.now)?);
    }
    let named = |nights: &[ReadNight]| -> Vec<NamedNight> {
        let named = nights.iter().map(|night| NamedNight {
            id: format!("{} {}", night.site, night.morning),
            low_c: night.low_c,
            high_c: night.high_c,
        });
        named.collect()
    };
    Ok(Plan::against(&named(nights), &named(&stored), |night| night.id.as_str()))
}

/// A night under its name.
#[derive(PartialEq, serde::Serialize)]
struct NamedNight {
    id: String,
    low_c: f64,
    high_c: Option<f64>,
}

fn without_address(person: &Person) -> Option<String> {
    let words = || {
        format!(
            "{} {} has no mail address: what we would write goes to the next contact, who has to call",
            person.id, person.name
        )
    };
    person.email.is_none().then(words)
}

/// How the configuration says that tables are read.
fn layout(settings: &Settings, catalogue: &Catalogue) -> Result<Layout, CliError> {
    let import = &settings.import;
    let ticks: Result<Vec<_>, _> = import
        .ticks
        .iter()
        .map(|(name, meaning)| TickColumn::parse(name, meaning, catalogue))
        .collect();
    Ok(Layout {
        columns: import
            .columns
            .iter()
            .map(|(theirs, ours)| (heading(theirs), heading(ours)))
            .collect(),
        ticks: ticks.map_err(CliError::bad_input)?,
        order: import.day_first.map(|first| match first {
            true => DateOrder::DayFirst,
            false => DateOrder::MonthFirst,
        }),
        zone: Some(settings.yard.time_zone),
    })
}
