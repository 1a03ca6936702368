//! `rimeward record`: one lay-up event by hand. Forgiving in its words, strict in its meaning.
//!
//! What the entry will change is folded and shown before anything is appended; only on a terminal is there a question.

mod change;
mod night;
mod words;
mod args;

pub use args::RecordArgs;
use std::fmt::Write as _;
use std::io::{IsTerminal as _, Write as _};

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::intake::{Known, entry};
use crate::app::context::YardBook;
use crate::app::ports::EventLog;
use crate::app::salt;
use crate::domain::boat::{
    Boat, BoatState, LayupEvent, Precision, corrects_something, doubts, fold, newest_version,
};
use crate::domain::catalogue::Catalogue;
use crate::domain::yard::Site;
use change::Change;
use words::Subject;

/// An entry older than this is also shown as it was just after it happened.
const LATE_MINUTES: i64 = 60;

/// Shows what one entry changes, and appends it.
///
/// # Errors
/// [`CliError`]: an unknown boat, circuit, kind, person or field with the nearest right name; words with two meanings; a
/// time in the future or before the boat existed; the store.
pub fn run(args: &RecordArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let yard = house.yard()?;
    let log = house.store.all_events()?;
    let subject = words::subject(&args.boat, &yard)?;
    let zone = yard.zone(subject.site());
    if let Subject::Place(site) = &subject
        && night::is_meant(&args.event)
    {
        return night::record(args, site, (house.forecasts(), zone), around);
    }
    let mut cells = words::cells(args, &subject, &yard, &house.catalogue)?;
    let stated = words::grade(args.evidence.as_deref(), &cells);
    cells.extend(stated.grade.clone().map(|grade| ("evidence".to_owned(), grade)));
    cells.extend(words::moment(args.happened.as_deref(), around.now, zone)?);
    let sites: Vec<Site> = yard.sites.values().cloned().collect();
    let known = Known::catalogue(&house.catalogue)
        .with_sites(&sites)
        .with_boats(&yard.boats)
        .with_events(log.iter())
        .with_now(around.now);
    let read = entry::event(&cells, &known).map_err(|problems| words::refusal(&problems))?;
    let mut event = read
        .rows
        .into_iter()
        .next()
        .ok_or_else(|| CliError::failed("the entry was read and is not there"))?;
    words::must_name_parts(&event, &subject, &house.catalogue)?;
    event.id = words::event_id(&event, salt::random(1)?());
    // Of a row that was changed in its sheet the version that stands is meant.
    event.corrects = event.corrects.map(|id| newest_version(&id, &log));
    check_correction(&event, &log)?;
    if let Some(there) = log.iter().find(|old| words::says_the_same(old, &event)) {
        return Ok(CommandOutput {
            text: format!(
                "Exactly this stands in the log already as {}; nothing was appended.\n",
                there.id
            ),
            json: json!({ "event": there, "appended": false, "notes": ["already there"] }),
            exit: Exit::Done,
        });
    }
    let look = Look {
        catalogue: &house.catalogue,
        yard: &yard,
        log: &log,
        event: &event,
        now: around.now,
    };
    let mut shown = look.show(&subject)?;
    shown.notes.extend(stated.note);
    let boat = event.boat.as_ref().and_then(|id| yard.boats.iter().find(|boat| boat.id == *id));
    shown.notes.extend(doubts(&event, boat, &house.catalogue));
    append(args, around, &*house.store, &event, shown)
}

fn append(
    args: &RecordArgs,
    around: &CliContext<'_>,
    store: &dyn EventLog,
    event: &LayupEvent,
    shown: Shown,
) -> Result<CommandOutput, CliError> {
    let mut text = shown.text(event);
    let terminal = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    let mut appended = !args.dry_run;
    if appended && terminal && !args.yes {
        appended = asked(&text)?;
        text.clear();
    }
    if appended {
        let mut salt = salt::random(words::TEXTS_PER_EVENT)?;
        store.append_events(std::slice::from_ref(event), around.now, &mut salt)?;
        let _ = writeln!(text, "Appended as {}.", event.id);
    } else {
        text.push_str("Nothing was appended.\n");
    }
    let json = json!({
        "event": event,
        "appended": appended,
        "changes": shown.changes,
        "notes": shown.notes,
    });
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// Shows the change on the terminal and waits for an answer.
fn asked(text: &str) -> Result<bool, CliError> {
    let trouble =
        |error: std::io::Error| CliError::failed(format!("asking on the terminal: {error}"));
    let mut talk = std::io::stderr().lock();
    write!(talk, "{text}Append this? [y/N] ").map_err(trouble)?;
    talk.flush().map_err(trouble)?;
    let mut answer = String::new();
    std::io::stdin().read_line(&mut answer).map_err(trouble)?;
    Ok(["y", "yes"].contains(&answer.trim().to_lowercase().as_str()))
}

/// A correction must speak of the same boat as what it corrects: it would otherwise do nothing, silently.
fn check_correction(event: &LayupEvent, log: &[LayupEvent]) -> Result<(), CliError> {
    let Some(target) = &event.corrects else { return Ok(()) };
    match log.iter().find(|old| old.id == *target) {
        Some(old) if old.boat != event.boat => {
            let of = old.boat.as_ref().map_or("a whole place", |boat| boat.as_str());
            Err(CliError::bad_input(format!(
                "{target} is an entry about {of}; a correction names the same boat"
            )))
        }
        Some(old) if !corrects_something(event, old) => Err(CliError::bad_input(format!(
            "this correction changes no field of {target} and does not withdraw it: name what was wrong, such as minutes=12, or \
             write method=void to withdraw the whole entry"
        ))),
        _ => Ok(()),
    }
}

/// What is needed to show what an entry changes.
struct Look<'a> {
    catalogue: &'a Catalogue,
    yard: &'a YardBook,
    log: &'a [LayupEvent],
    event: &'a LayupEvent,
    now: DateTime<Utc>,
}

/// What an entry changes, ready to be said.
struct Shown {
    head: String,
    parts: Vec<String>,
    changes: Vec<Value>,
    notes: Vec<String>,
}

impl Shown {
    fn text(&self, event: &LayupEvent) -> String {
        let mut text = format!("{}\n", self.head);
        if let Some(who) = &event.who {
            let _ = writeln!(text, "by {who}");
        }
        for part in &self.parts {
            text.push_str(part);
        }
        for note in &self.notes {
            let _ = writeln!(text, "note: {note}");
        }
        text
    }
}

impl Look<'_> {
    fn show(&self, subject: &Subject<'_>) -> Result<Shown, CliError> {
        let label = self.catalogue.event(&self.event.kind).map_or("", |kind| &kind.label);
        let zone = self.yard.zone(subject.site());
        let hour = match self.event.precision {
            Precision::Day => "%-d %b %Y, hour not known",
            Precision::Minute => "%-d %b %Y %H:%M %Z",
        };
        let mut shown = Shown {
            head: format!(
                "{}: {label} ({}), {}",
                subject.name(),
                self.event.kind,
                self.event.happened_at.with_timezone(&zone).format(hour)
            ),
            parts: Vec::new(),
            changes: Vec::new(),
            notes: Vec::new(),
        };
        match subject {
            Subject::Boat(boat) => self.boat(boat, false, &mut shown)?,
            Subject::Place(site) => {
                for boat in &self.yard.boats {
                    if self.fold(boat, false, self.now).site == site.id {
                        self.boat(boat, true, &mut shown)?;
                    }
                }
                if shown.parts.is_empty() {
                    shown.parts.push("No boat there is changed by it.\n".into());
                }
            }
        }
        Ok(shown)
    }

    fn boat(&self, boat: &Boat, one_of_many: bool, shown: &mut Shown) -> Result<(), CliError> {
        // A correction acts where the entry stands that it corrects.
        let corrected = self.event.corrects.as_ref();
        let corrected = corrected.and_then(|id| self.log.iter().find(|old| old.id == *id));
        let happened = corrected.map_or(self.event.happened_at, |old| old.happened_at);
        let late = self.now - happened >= TimeDelta::minutes(LATE_MINUTES);
        let just_after = happened + TimeDelta::minutes(1);
        let moments = if late {
            vec![("As it stood just after it", just_after.min(self.now)), ("Now", self.now)]
        } else {
            vec![("Now", self.now)]
        };
        for (when, at) in moments {
            let (before, after) = (self.fold(boat, false, at), self.fold(boat, true, at));
            let site = self.yard.sites.get(&after.site).ok_or_else(|| {
                CliError::failed(format!(
                    "{} stands at {}, which is not listed",
                    boat.id, after.site
                ))
            })?;
            let change = Change::between(&before, &after, site, self.catalogue);
            if one_of_many && change.is_empty() {
                continue;
            }
            let title = if one_of_many { format!("{when}, {}", boat.id) } else { when.to_owned() };
            shown.parts.push(told(&title, &change));
            shown.changes.push(json!({
                "boat": boat.id,
                "at": at.with_timezone(&site.time_zone).to_rfc3339(),
                "circuits": change.circuits,
                "lines": change.lines,
                "remarks": change.remarks.iter().map(|(words, _)| words).collect::<Vec<_>>(),
            }));
        }
        Ok(())
    }

    /// The boat at `at` by all that is known now, with or without the entry.
    fn fold(&self, boat: &Boat, with: bool, at: DateTime<Utc>) -> BoatState {
        let mut events: Vec<LayupEvent> = self
            .log
            .iter()
            .filter(|event| event.boat.as_ref().is_none_or(|of| *of == boat.id))
            .cloned()
            .collect();
        if with {
            events.push(self.event.clone());
        }
        fold(boat, &self.yard.sites, &events, at, self.now, self.catalogue)
    }
}

fn told(title: &str, change: &Change) -> String {
    let mut text = format!("{title}:\n");
    if change.is_empty() {
        text.push_str("  changes nothing: later entries decide, or it says nothing of a circuit\n");
    }
    for line in &change.lines {
        let _ = writeln!(text, "  {line}");
    }
    for (words, parts) in &change.remarks {
        let _ = writeln!(text, "  . {words}: {}", parts.join(", "));
    }
    text
}
