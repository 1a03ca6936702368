//! The commands, one file each. Data goes to standard output, talk to standard error.

pub mod alerts;
pub mod backup;
pub mod blend;
mod cap;
mod found;
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
mod time;
mod outcome;
mod outside;
pub mod winter;
pub mod worklist;

use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use serde_json::Value;

use crate::app::context::with_causes;
use crate::app::ports::Clock as _;
use crate::daemon::clock::SystemClock;
use crate::domain::units::TemperatureScale;

pub(crate) use outcome::as_json;
pub use outcome::{CliError, CommandOutput, Exit};
pub use outside::{CliContext, Environment, runtime};
pub use time::parse_time;

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

fn complain(why: &str, exit: Exit) -> ExitCode {
    let _ = writeln!(std::io::stderr(), "rimeward: {why}");
    exit.into()
}
