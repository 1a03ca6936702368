//! The commands, one file each. Data goes to standard output, talk to standard error.

pub mod alerts;
pub mod backup;
pub mod blend;
mod cap;
mod taken_out;
pub mod boat;
pub mod check;
pub mod demo;
pub mod explain;
pub mod held;
pub mod import;
pub mod init;
pub mod inspect;
pub mod season;
mod page;
pub mod phrases;
pub mod record;
pub mod sheet;
pub mod place;
pub mod replay;
pub mod receive;
mod plan;
pub mod round;
pub mod self_test;
pub mod run;
mod talk;
pub mod shelve;
pub mod verify;
pub mod verify_log;
pub mod winter;
pub mod worklist;

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use chrono::{DateTime, Utc};
use clap::{Parser, Subcommand};
use serde_json::Value;

use crate::adapters::settings::SettingsError;
use crate::adapters::sqlite::Options;
use crate::app::assess::AsOf;
use crate::app::context::with_causes;
use crate::app::context::{AppContext, ServiceError};
use crate::app::ports::{Clock as _, StoreErrorKind};
use crate::app::settings::Settings;
use crate::daemon::clock::SystemClock;
use crate::domain::units::TemperatureScale;

/// The environment as it came in.
pub type Environment = BTreeMap<String, String>;

/// How a command ended, as its exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done,
    /// Failed.
    Failed,
    /// Wrong use or bad input; nothing was changed.
    BadInput,
    /// Done, but a place has no usable forecast.
    Blind,
    /// The store is locked or cannot be reached.
    StoreAway,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Done => 0,
            Exit::Failed => 1,
            Exit::BadInput => 2,
            Exit::Blind => 3,
            Exit::StoreAway => 4,
        })
    }
}

/// What a command has to say.
#[derive(Debug, Clone, PartialEq)]
pub struct CommandOutput {
    /// For people; with a line end where it is not empty.
    pub text: String,
    /// For programs.
    pub json: Value,
    /// How it ended.
    pub exit: Exit,
}

impl CommandOutput {
    /// Text, document and exit code of a command that needs no service.
    fn from_parts((text, json, code): (String, Value, u8)) -> Self {
        let exit = match code {
            0 => Exit::Done,
            2 => Exit::BadInput,
            _ => Exit::Failed,
        };
        Self { text, json, exit }
    }
}

/// Why a command could not do its work.
#[derive(Debug)]
pub struct CliError {
    /// In words, with what to do.
    pub why: String,
    /// How it ended.
    pub exit: Exit,
}

impl CliError {
    /// Wrong use or bad input.
    #[must_use]
    pub fn bad_input(why: impl Into<String>) -> Self {
        Self { why: why.into(), exit: Exit::BadInput }
    }

    /// Something went wrong on the way.
    #[must_use]
    pub fn failed(why: impl Into<String>) -> Self {
        Self { why: why.into(), exit: Exit::Failed }
    }
}

impl From<crate::app::ports::StoreError> for CliError {
    fn from(error: crate::app::ports::StoreError) -> Self {
        ServiceError::from(error).into()
    }
}

impl From<ServiceError> for CliError {
    fn from(error: ServiceError) -> Self {
        let exit = match &error {
            ServiceError::Store(error) => match error.kind() {
                StoreErrorKind::Locked | StoreErrorKind::Unreachable => Exit::StoreAway,
                _ => Exit::Failed,
            },
            _ => Exit::Failed,
        };
        Self { why: with_causes(&error), exit }
    }
}

impl From<SettingsError> for CliError {
    fn from(error: SettingsError) -> Self {
        Self::bad_input(error.to_string())
    }
}

/// Tells who answers for a boat laid up for winter whether water left in it will freeze before somebody can act.
///
/// A planning aid, not an official weather warning: engine maker's instructions, local codes and yard rules come first.
#[derive(Debug, Parser)]
#[command(name = "rimeward", version, disable_help_subcommand = true)]
struct CommandLine {
    /// Configuration (default: RIMEWARD_CONFIG, else /etc/rimeward/rimeward.toml, else config/rimeward.toml)
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
    /// One JSON document on standard output, nothing else
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// The invented yard in a winter reconstructed from published figures: needs no network, no server, no root
    Demo(demo::DemoArgs),
    /// What is at risk, ranked; sends nothing
    Worklist(worklist::WorklistArgs),
    /// Which boats first, by which day to start, what falls short, what to drain tonight
    Plan(plan::PlanArgs),
    /// What is in each circuit of a boat, since when, on what evidence, what undid it, to what it holds
    Boat(boat::BoatArgs),
    /// One pass: fetch, judge, decide, deliver; then exit
    Round(round::RoundArgs),
    /// Asks, or takes flags, for place, boat, relay and contact; writes an explained configuration
    Init(init::InitArgs),
    /// The daemon: fetches, judges and delivers until it is stopped
    Run(run::RunArgs),
    /// The life of alerts: which are open, who was told, on what ground; and saying that one has been seen
    Alerts(alerts::AlertsArgs),
    /// Bring in the yard's own tables: all rows or none
    Import(import::ImportArgs),
    /// Append one lay-up event; shows what it changes first
    Record(record::RecordArgs),
    /// One boat's winter on one page: timeline, readings, forecasts as they stood, who was told
    Winter(winter::WinterArgs),
    /// The day sheet for a boat: to print, fill and type back
    Sheet(sheet::SheetArgs),
    /// To what a mixture holds: first ice, slush, burst
    Blend(blend::BlendArgs),
    /// Computes every published check value and compares
    Verify(verify::VerifyArgs),
    /// Reads one payload of a weather service and prints the hours in it, or why it is refused
    Inspect(inspect::Args),
    /// When the first damaging freeze comes and the last, from an archive of past days
    Season(season::SeasonArgs),
    /// The words of all letters, to change and to check
    Phrases(phrases::PhrasesArgs),
    /// Takes in mail that came back: bounces and answers
    Receive(receive::ReceiveArgs),
    /// What a past winter would have done to the boats, and what people would have been told
    Replay(replay::ReplayArgs),
    /// A storage place, and what its own thermometer has taught about its nights
    Place(place::PlaceArgs),
    /// Checks the chain of the lay-up log and prints its head
    VerifyLog(verify_log::VerifyLogArgs),
    /// A consistent copy of the store, while the daemon runs
    Backup(backup::BackupArgs),
    /// Puts the store back to a backup
    Restore(backup::RestoreArgs),
    /// Reaches the store, each weather service and the mail relay, and says what is wrong
    SelfTest(self_test::SelfTestArgs),
    /// Every problem of a configuration in one go
    CheckConfig(check::CheckArgs),
}

/// What the commands need to know of the outside.
#[derive(Debug)]
pub struct CliContext<'a> {
    environment: &'a Environment,
    config: Option<PathBuf>,
    /// The present.
    pub now: DateTime<Utc>,
    /// A JSON document is wanted.
    pub json: bool,
}

impl CliContext<'_> {
    /// The configuration file that counts.
    #[must_use]
    pub fn config_path(&self) -> PathBuf {
        if let Some(path) = &self.config {
            return path.clone();
        }
        if let Some(path) = self.environment.get("RIMEWARD_CONFIG") {
            return PathBuf::from(path);
        }
        let installed = PathBuf::from("/etc/rimeward/rimeward.toml");
        if installed.exists() { installed } else { PathBuf::from("config/rimeward.toml") }
    }

    /// A working service by that configuration.
    ///
    /// # Errors
    /// [`CliError`] with the problems of the configuration, or with what keeps the store from opening.
    pub fn house(&self) -> Result<AppContext, CliError> {
        let settings = Settings::load(&self.config_path())?;
        Ok(AppContext::open(settings, Options::default())?)
    }

    /// A time from the command line, in `zone` unless it has an offset; now where none is given.
    ///
    /// # Errors
    /// As [`parse_time`].
    pub fn time_or_now(
        &self,
        text: Option<&str>,
        zone: chrono_tz::Tz,
    ) -> Result<DateTime<Utc>, CliError> {
        text.map_or(Ok(self.now), |text| parse_time(text, zone))
    }

    /// The instant of `--at` and `--known-at`: now, and as known at that time, where they are not given.
    ///
    /// # Errors
    /// As [`parse_time`].
    pub fn instant(
        &self,
        (at, known_at): (Option<&str>, Option<&str>),
        zone: chrono_tz::Tz,
    ) -> Result<AsOf, CliError> {
        let at = self.time_or_now(at, zone)?;
        let known_at = known_at.map_or(Ok(at), |text| parse_time(text, zone))?;
        Ok(AsOf { at, known_at })
    }
}

/// Runs one command line.
#[must_use]
pub fn run(args: impl IntoIterator<Item = OsString>, environment: &Environment) -> ExitCode {
    let line = match CommandLine::try_parse_from(args) {
        Ok(line) => line,
        Err(error) => {
            let wrong = error.use_stderr();
            // A closed pipe is the reader's choice.
            let _ = error.print();
            return if wrong { Exit::BadInput.into() } else { Exit::Done.into() };
        }
    };
    let usual = if matches!(line.command, Command::Run(_)) { "warn,rimeward=info" } else { "warn" };
    talk::start(environment, usual);
    if let Some(place) = environment.get("FAILPOINT") {
        crate::app::ports::failpoint::arm(place);
    }
    let _ = rustls::crypto::ring::default_provider().install_default();
    let around =
        CliContext { environment, config: line.config, now: SystemClock.now(), json: line.json };
    match dispatch(line.command, &around) {
        Ok(said) if said.exit == Exit::BadInput && !around.json => {
            complain(said.text.trim_end(), said.exit)
        }
        Ok(said) => {
            let mut out = std::io::stdout().lock();
            let printed = if around.json {
                writeln!(out, "{:#}", said.json)
            } else {
                out.write_all(said.text.as_bytes())
            };
            match printed {
                Ok(()) => said.exit.into(),
                Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => said.exit.into(),
                Err(error) => complain(&format!("writing the answer: {error}"), Exit::Failed),
            }
        }
        Err(refusal) => complain(&refusal.why, refusal.exit),
    }
}

fn dispatch(command: Command, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    match command {
        Command::Worklist(args) => worklist::worklist(&args, around),
        Command::Plan(args) => plan::plan(&args, around),
        Command::Boat(args) => boat::run(&args, around),
        Command::Round(args) => round::run(&args, around),
        Command::Init(args) => init::init(&args, around),
        Command::Run(args) => run::run(&args, around),
        Command::Import(args) => import::import(&args, around),
        Command::Winter(args) => winter::run(&args, around),
        Command::Sheet(args) => sheet::run(&args, around),
        Command::Record(args) => record::run(&args, around),
        Command::Demo(args) => demo::demo(&args, around),
        Command::Blend(args) => {
            Ok(CommandOutput::from_parts(blend::blend(&args, TemperatureScale::F)))
        }
        Command::Verify(args) => Ok(CommandOutput::from_parts(verify::verify(&args))),
        Command::Phrases(args) => phrases::phrases(&args),
        Command::Receive(args) => receive::run(&args, around),
        Command::Replay(args) => replay::run(&args, around),
        Command::Inspect(args) => inspect_said(&args, around.json),
        Command::Season(args) => season::season(&args, around),
        Command::Place(args) => place::place(&args, around),
        Command::Alerts(args) => alerts::alerts(&args, around),
        Command::VerifyLog(args) => verify_log::verify_log(&args, around),
        Command::Backup(args) => backup::backup(&args, around),
        Command::Restore(args) => backup::restore(&args, around),
        Command::SelfTest(args) => self_test::self_test(&args, around),
        Command::CheckConfig(args) => check::check(&args, around),
    }
}

fn inspect_said(args: &inspect::Args, as_json: bool) -> Result<CommandOutput, CliError> {
    let mut out = Vec::new();
    let result = inspect::run(args, as_json, &mut out);
    if let Err(error) = result {
        if as_json && !out.is_empty() {
            // The reason is the answer.
            let json = serde_json::from_slice(&out).unwrap_or(Value::Null);
            return Ok(CommandOutput { text: String::new(), json, exit: Exit::BadInput });
        }
        return Err(CliError::bad_input(with_causes(&error)));
    }
    let text = String::from_utf8_lossy(&out).into_owned();
    let json = serde_json::from_str(&text).unwrap_or(Value::Null);
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The runtime for what waits on the network.
///
/// # Errors
/// [`CliError`] when the machine gives no threads.
pub fn runtime() -> Result<tokio::runtime::Runtime, CliError> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| CliError::failed(format!("starting the runtime: {error}")))
}

fn complain(why: &str, exit: Exit) -> ExitCode {
    let _ = writeln!(std::io::stderr(), "rimeward: {why}");
    exit.into()
}

/// Reads a time: RFC 3339, or a date and a time of the place (`2023-02-02T06:30`), or a date alone (midnight).
///
/// # Errors
/// Words that say which forms are read.
pub fn parse_time(text: &str, zone: chrono_tz::Tz) -> Result<DateTime<Utc>, CliError> {
    use chrono::{LocalResult, NaiveDate, NaiveDateTime, TimeZone as _};
    if let Ok(at) = DateTime::parse_from_rfc3339(text) {
        return Ok(at.to_utc());
    }
    let wall = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
        .or_else(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()?.and_hms_opt(0, 0, 0));
    match wall.map(|wall| zone.from_local_datetime(&wall)) {
        Some(LocalResult::Single(at) | LocalResult::Ambiguous(at, _)) => Ok(at.to_utc()),
        Some(LocalResult::None) => Err(CliError::bad_input(format!(
            "{text} does not exist in {zone}: the clock skips it; give another minute or an offset"
        ))),
        None => Err(CliError::bad_input(format!(
            "{text:?} is not a time; write 2023-02-02T06:30 (time of the place) or 2023-02-02T06:30:00-05:00"
        ))),
    }
}
