//! `rimeward demo`: the invented yard in the reconstructed winter of 2022-23.

use std::collections::BTreeMap;
use std::io::{IsTerminal as _, Write as _};
use std::path::PathBuf;

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit, parse_time, runtime};
use crate::app::assess::view::worklist_view;
use crate::app::context::ServiceError;
use crate::app::notify::worklist::worklist_text;
use crate::sim::demo::season::{FIRST_ROUND, LAST_ROUND, Progress, Season, instant, run};

/// The morning before the cold outbreak of February 2023.
const DEFAULT_AT: &str = "2023-02-02T06:30:00-05:00";
/// Zone of the invented yard.
const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// Stop at this time of the winter (1 Oct 2022 to 31 May 2023)
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Keep everything in this new or empty folder
    #[arg(long, value_name = "DIR")]
    keep: Option<PathBuf>,
}

/// Runs the winter and ends with the worklist.
///
/// # Errors
/// [`CliError`]: a time outside the winter, a folder that is not empty, the disk.
pub fn demo(args: &DemoArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let at = parse_time(args.at.as_deref().unwrap_or(DEFAULT_AT), ZONE)?;
    let (first, last) = (instant(FIRST_ROUND)?, instant(LAST_ROUND)?);
    if !(first + TimeDelta::hours(1)..=last).contains(&at) {
        return Err(CliError::bad_input(format!(
            "the winter of the demonstration runs from {FIRST_ROUND} to {LAST_ROUND}; {} lies outside",
            at.with_timezone(&ZONE).to_rfc3339()
        )));
    }
    let folder = folder(args, around)?;
    let mut line = ProgressLine::new(around.json);
    let season = runtime()?.block_on(run(&folder, at, |progress| line.show(progress)))?;
    line.clear();
    let exit = if season.assessment.is_blind() { Exit::Blind } else { Exit::Done };
    Ok(CommandOutput { text: in_words(&season, at)?, json: as_json(&season), exit })
}

/// A fresh folder for the store and the Maildir.
fn folder(args: &DemoArgs, around: &CliContext<'_>) -> Result<PathBuf, CliError> {
    let folder = args.keep.clone().unwrap_or_else(|| {
        let base = around.environment.get("TMPDIR").map_or("/tmp", String::as_str);
        let stamp = around.now.format("%Y%m%d-%H%M%S%.3f");
        PathBuf::from(base).join(format!("rimeward-demo-{stamp}"))
    });
    let cannot = |error: std::io::Error| {
        CliError::bad_input(format!("cannot use the folder {}: {error}", folder.display()))
    };
    std::fs::create_dir_all(&folder).map_err(cannot)?;
    if std::fs::read_dir(&folder).map_err(cannot)?.next().is_some() {
        return Err(CliError::bad_input(format!(
            "the folder {} is not empty; name a new one",
            folder.display()
        )));
    }
    Ok(folder)
}

/// One line on a terminal's standard error that is written over.
struct ProgressLine {
    shown: bool,
    on: bool,
    last: Option<DateTime<Utc>>,
}

impl ProgressLine {
    fn new(json: bool) -> Self {
        Self { shown: false, on: !json && std::io::stderr().is_terminal(), last: None }
    }

    fn show(&mut self, progress: Progress) {
        let day = TimeDelta::days(1);
        if !self.on || self.last.is_some_and(|last| progress.at - last < day) {
            return;
        }
        self.last = Some(progress.at);
        self.shown = true;
        let left = (progress.until - progress.at).num_days();
        let date = progress.at.with_timezone(&ZONE).format("%a %-d %b %Y");
        let _ = write!(std::io::stderr(), "\r\x1b[2Kwinter at the yard: {date}, {left} days to go");
    }

    fn clear(&self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r\x1b[2K");
        }
    }
}

fn in_words(season: &Season, at: DateTime<Utc>) -> Result<String, ServiceError> {
    let mut text = String::from(
        "Invented yard, boats and people; weather reconstructed after published figures of that winter.\n\n",
    );
    text += &worklist_text(&season.house, &season.assessment)?;
    text += &format!(
        "\nThe winter so far, 1 Oct 2022 to {}: {} rounds, {} forecasts fetched, messages to\n",
        at.with_timezone(&ZONE).format("%-d %b %Y %H:%M"),
        season.rounds,
        season.issues
    );
    for (person, kinds) in by_person(season) {
        let total: u32 =
            kinds.iter().filter(|(k, _)| k.as_str() != "worklist").map(|(_, n)| n).sum();
        let worklists = kinds.get("worklist").copied().unwrap_or(0);
        let blind = kinds.get("blind").copied().unwrap_or(0);
        let mut line = format!("  {person:26} {total:3}");
        if blind > 0 {
            line += &format!(", {blind} of them about a missing forecast");
        }
        if worklists > 0 {
            line += &format!(", and {worklists} worklists");
        }
        text += &line;
        text.push('\n');
    }
    text += &format!(
        "\nThe letters:  {}\nThe store:    {}\nAsk it more:  rimeward --config {} boat B02 --at 2022-11-21T08:00\n",
        season.maildir.display(),
        season.store.display(),
        season.store.with_file_name("rimeward.toml").display()
    );
    Ok(text)
}

fn by_person(season: &Season) -> BTreeMap<String, BTreeMap<String, u32>> {
    let mut people: BTreeMap<String, BTreeMap<String, u32>> = BTreeMap::new();
    for person in season.assessment.yard.people.values() {
        people.entry(named(season, person.id.as_str())).or_default();
    }
    for count in &season.messages {
        *people
            .entry(named(season, count.recipient.as_str()))
            .or_default()
            .entry(count.kind.clone())
            .or_default() += count.sent;
    }
    people
}

fn named(season: &Season, id: &str) -> String {
    let person = season.assessment.yard.people.values().find(|person| person.id.as_str() == id);
    person.map_or_else(|| id.to_owned(), |person| format!("{id} {}", person.name))
}

fn as_json(season: &Season) -> serde_json::Value {
    json!({
        "worklist": worklist_view(&season.assessment),
        "rounds": season.rounds,
        "forecasts": season.issues,
        "requests": season.requests,
        "messages": by_person(season),
        "maildir": season.maildir.display().to_string(),
        "store": season.store.display().to_string(),
    })
}
