//! The demonstration: every round of the invented winter on a virtual clock, through the ordinary doors: an HTTP server
//! that answers in the weather service's formats, the embedded store, a Maildir.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use thiserror::Error;

use crate::adapters::intake::{self, ImportProblems, Imported, Known};
use crate::adapters::sqlite::{Durability, Options};
use crate::app::assess::{AsOf, Assessment, assess};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::Composer;
use crate::app::ports::{MessageCount, WeatherSources};
use crate::app::round::{Memory, RoundDeps, round};
use crate::app::salt;
use crate::app::settings::Settings;
use crate::daemon::post::channel;
use crate::domain::boat::LayupEvent;
use crate::sim::demo::issues::Issues;
use crate::sim::demo::stand_in::StandIn;
use crate::sim::demo::winter::{Winter, WinterError, past_days};

/// First round: midnight of 1 October 2022 at the yard.
pub const FIRST_ROUND: &str = "2022-10-01T00:00:00-04:00";
/// The last instant that the winter reaches.
pub const LAST_ROUND: &str = "2023-05-31T12:00:00-04:00";
/// Rounds come every hour, this long after it, as a timer would start them.
const AFTER_THE_HOUR: TimeDelta = TimeDelta::minutes(7);
/// What the winter, its forecasts and the log's salts are drawn from.
pub const SEED: u64 = crate::sim::demo::winter::DEMO_SEED;

const SITES: &str = include_str!("../../../config/demo/sites.csv");
const PEOPLE: &str = include_str!("../../../config/demo/people.csv");
const BOATS: &str = include_str!("../../../config/demo/boats.csv");
const EVENTS: &str = include_str!("../../../config/demo/layup_events.csv");

/// Where the demonstration ended.
#[derive(Debug)]
pub struct Season {
    /// The service as the last round left it.
    pub house: AppContext,
    /// The look over the yard at the end.
    pub assessment: Assessment,
    /// Messages by person and kind.
    pub messages: Vec<MessageCount>,
    /// Rounds that were run.
    pub rounds: usize,
    /// Requests that the stand-in answered.
    pub requests: u64,
    /// Forecasts kept.
    pub issues: usize,
    /// The SQLite file.
    pub store: PathBuf,
    /// The Maildir.
    pub maildir: PathBuf,
}

/// How far the demonstration has come.
#[derive(Debug, Clone, Copy)]
pub struct Progress {
    /// The virtual instant.
    pub at: DateTime<Utc>,
    /// Where it ends.
    pub until: DateTime<Utc>,
}

/// Why the demonstration cannot be played.
#[derive(Debug, Error)]
pub enum DemoError {
    /// The winter's tables.
    #[error("reconstructing the winter: {0}")]
    Winter(#[source] WinterError),
    /// The tables of the winters before it.
    #[error("inventing past winters: {0}")]
    PastWinters(#[source] WinterError),
    /// No port on this machine.
    #[error("opening a loopback port: {0}")]
    Port(#[source] std::io::Error),
    /// The folder.
    #[error("cannot write {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The configuration made for it.
    #[error("{}", .0.join("\n"))]
    Settings(Vec<String>),
    /// A table of the invented yard.
    #[error(transparent)]
    Table(#[from] ImportProblems),
    /// A constant that is no time.
    #[error("{text}: {source}")]
    Time {
        /// The constant.
        text: String,
        /// Why.
        source: chrono::ParseError,
    },
}

impl From<DemoError> for ServiceError {
    fn from(error: DemoError) -> Self {
        Self::Outside(Box::new(error))
    }
}

/// Runs every round from 1 October 2022 to `until` in `folder`, which must exist and is filled.
///
/// # Errors
/// [`ServiceError`]: the disk, or tables that do not fit together.
pub async fn run(
    folder: &Path,
    until: DateTime<Utc>,
    mut progress: impl FnMut(Progress),
) -> Result<Season, ServiceError> {
    let winter = Winter::reconstruct(SEED).map_err(DemoError::Winter)?;
    let first = instant(FIRST_ROUND)?;
    let stand_in = StandIn::start(Arc::new(Issues::new(winter, SEED)), first)
        .await
        .map_err(DemoError::Port)?;
    let settings = settings(folder, stand_in.base())?;
    let maildir = settings.mail.maildir.clone().unwrap_or_default();
    let store = settings.store.path.clone();
    let options = Options { durability: Durability::Normal, ..Options::default() };
    let house = AppContext::open(settings, options)?;
    let log = load_yard(&house)?;
    let composer = Composer::of(&house.settings, &*house.mailer)?;
    let client = house.weather_client()?;
    let mut way_out = channel(&house.settings.mail, false)?;
    let mut memory = Memory::default();
    let mut salt = salt::seeded(SEED);
    let mut told = 0_usize;
    let (mut rounds, mut issues) = (0_usize, 0_usize);
    let mut now = first + AFTER_THE_HOUR;
    loop {
        // The last round is at the instant itself, as when somebody looks at that very time.
        now = now.min(until);
        stand_in.set_now(now);
        let known = log.partition_point(|event| event.recorded_at <= now);
        if let Some(new) = log.get(told..known).filter(|new| !new.is_empty()) {
            house.store.append_events(new, now, &mut salt)?;
            told = known;
        }
        let mut works = RoundDeps {
            clock: None,
            house: &house,
            composer: &composer,
            client: client.as_ref().map(|all| all as &dyn WeatherSources),
            channel: Some(&mut way_out),
            endpoints: None,
        };
        let report = round(&mut works, &mut memory, now).await?;
        rounds += 1;
        issues += report.fetched.iter().filter(|fetched| fetched.new_issue).count();
        progress(Progress { at: now, until });
        if now >= until {
            break;
        }
        now += TimeDelta::hours(1);
    }
    let assessment = assess(&house, AsOf::now(until), |_| true)?;
    let messages = house.store.message_counts()?;
    let requests = stand_in.requests();
    Ok(Season { house, assessment, messages, rounds, requests, issues, store, maildir })
}

/// The configuration of the demonstration, through the same door as any other.
fn settings(folder: &Path, base: &str) -> Result<Settings, ServiceError> {
    let text = format!(
        r#"
[yard]
name = "Quillback Cove"
time_zone = "America/New_York"
worklist = "30 6 * * MON-FRI"

[store]
path = "rimeward.sqlite"

[forecast]
contact = "office@example.org"

[forecast.nws]
base = "{base}"

[season.archives]
QUAY = "past_coast.csv"
DOCK = "past_coast.csv"
BARN = "past_coast.csv"
SHED = "past_inland.csv"
UPPER = "past_inland.csv"
DRIVE-B = "past_inland.csv"

[mail]
from = "freeze-desk@example.org"
maildir = "Maildir"
"#
    );
    for (name, inland) in [("past_coast.csv", false), ("past_inland.csv", true)] {
        let days = past_days(SEED, inland).map_err(DemoError::PastWinters)?;
        let path = folder.join(name);
        std::fs::write(&path, days)
            .map_err(|source| DemoError::Write { path: path.clone(), source })?;
    }
    let path = folder.join("rimeward.toml");
    std::fs::write(&path, &text)
        .map_err(|source| DemoError::Write { path: path.clone(), source })?;
    Ok(Settings::parse(&text, folder).map_err(DemoError::Settings)?)
}

/// Brings in the invented yard and returns its log in the order in which the yard learned of it.
fn load_yard(house: &AppContext) -> Result<Vec<LayupEvent>, ServiceError> {
    let sites = rows(intake::csv::sites(SITES.as_bytes(), "sites.csv"))?;
    let people = rows(intake::csv::people(PEOPLE.as_bytes(), "people.csv"))?;
    let known = Known::catalogue(&house.catalogue).with_sites(&sites);
    let boats = rows(intake::csv::boats(BOATS.as_bytes(), "boats.csv", &known))?;
    house.store.put_yard(&sites, &people, &boats)?;
    demo_log(known.with_boats(&boats))
}

fn demo_log(known: Known<'_>) -> Result<Vec<LayupEvent>, ServiceError> {
    let mut log = rows(intake::csv::events(EVENTS.as_bytes(), "layup_events.csv", &known))?;
    log.sort_by(|a, b| a.recorded_at.cmp(&b.recorded_at).then_with(|| a.id.cmp(&b.id)));
    Ok(log)
}

fn rows<T>(read: Result<Imported<T>, ImportProblems>) -> Result<Vec<T>, ServiceError> {
    Ok(read.map(|imported| imported.rows).map_err(DemoError::Table)?)
}

/// A fixed instant of this file.
///
/// # Errors
/// Never for the constants here.
pub fn instant(text: &str) -> Result<DateTime<Utc>, ServiceError> {
    DateTime::parse_from_rfc3339(text)
        .map(|at| at.to_utc())
        .map_err(|source| DemoError::Time { text: text.to_owned(), source }.into())
}
