//! The daemon at work: the loops on the real clock, each on a thread of its own, from start to a clean end; signals, and
//! what the service manager is told.

mod manager;
mod shift;

use chrono::{DateTime, Utc};
use thiserror::Error;
use tokio::signal::unix::{Signal, SignalKind, signal};

use crate::adapters::settings::SettingsError;
use crate::adapters::sqlite::{Hold, Options};
use crate::app::context::ServiceError;
use crate::app::ports::{AlertFilter, Clock as _, OutboxState};
use crate::app::settings::Settings;
use crate::daemon::clock::SystemClock;
use crate::daemon::{Daemon, Task};

use manager::Manager;
use shift::{Ended, Shift};

/// Why a running daemon ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// It was asked to.
    Asked,
    /// A loop came to a sudden end: whoever started us starts us again, and the outbox remembers.
    LoopDied(Task),
}

/// What was heard while the loops ran.
enum Heard {
    Stop,
    Reload,
    Died(Task),
    Tick,
}

/// The machine does not tell of signals.
#[derive(Debug, Error)]
#[error("listening for signals: {0}")]
struct SignalsError(#[source] std::io::Error);

struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    fn listen() -> std::io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }
}

/// Runs until it is asked to stop (SIGTERM, SIGINT). SIGHUP reads the configuration again by `load`.
///
/// # Errors
/// [`ServiceError`] when it cannot start: the store is held, damaged or away, a secret file others can read.
pub async fn run(
    settings: Settings,
    load: impl Fn() -> Result<Settings, SettingsError>,
) -> Result<Stopped, ServiceError> {
    let clock = SystemClock;
    let mut signals = Signals::listen()
        .map_err(|source| ServiceError::Outside(Box::new(SignalsError(source))))?;
    let manager = Manager::default();
    let mut hold = Hold::take(&settings.store.path)?;
    let daemon = Daemon::open(settings, Options::default())?;
    daemon.begin(clock.now())?;
    if daemon.house().store.sites()?.is_empty() {
        tracing::warn!(
            "the store {} holds no place: nothing is watched until you import your tables; is store.path right?",
            hold.path().display()
        );
    }
    let mut shift = Shift::start(daemon, clock);
    manager.ready(&status_line(&shift, clock.now()));
    tracing::info!("running; the store is {}", hold.path().display());
    let stopped = loop {
        match hear(&mut signals, &mut shift, &manager, clock).await {
            Heard::Tick => {
                if shift.is_moving() {
                    manager.alive();
                } else {
                    tracing::error!("a loop makes no progress: the watchdog is not fed");
                }
                manager.status(&status_line(&shift, clock.now()));
            }
            Heard::Stop => break Stopped::Asked,
            Heard::Died(task) => break Stopped::LoopDied(task),
            Heard::Reload => {
                manager.reloading();
                match reload(&load, &hold, clock.now()) {
                    Ok((daemon, other)) => {
                        let before = shift.house();
                        let (ended, asked) = end_or_stop(shift, &mut signals).await;
                        note_ended(ended);
                        if asked {
                            manager.stopping();
                            if other.is_some() {
                                daemon.house().store.mark_stopped()?;
                            }
                            before.store.mark_stopped()?;
                            tracing::info!("stopped");
                            return Ok(Stopped::Asked);
                        }
                        if let Some(other) = other {
                            if let Err(error) = before.store.mark_stopped() {
                                tracing::error!("leaving the store before: {error}");
                            }
                            hold = other;
                        }
                        shift = Shift::start(daemon, clock);
                        tracing::info!("the configuration was read again and is in force");
                        manager.ready(&status_line(&shift, clock.now()));
                    }
                    Err(why) => {
                        tracing::error!(
                            "the new configuration is refused, the old one stays: {why}"
                        );
                        manager.ready(
                            "the new configuration is refused, the old one stays; see the log",
                        );
                    }
                }
            }
        }
    };
    manager.stopping();
    tracing::info!("stopping");
    let house = shift.house();
    note_ended(shift.end().await);
    if stopped == Stopped::Asked {
        house.store.mark_stopped()?;
        tracing::info!("stopped");
    }
    Ok(stopped)
}

async fn hear(
    signals: &mut Signals,
    shift: &mut Shift,
    manager: &Manager,
    clock: SystemClock,
) -> Heard {
    tokio::select! {
        _ = signals.terminate.recv() => Heard::Stop,
        _ = signals.interrupt.recv() => Heard::Stop,
        _ = signals.hang_up.recv() => Heard::Reload,
        task = shift.died() => Heard::Died(task),
        () = clock.sleep_towards(clock.now() + manager.interval()) => Heard::Tick,
    }
}

/// Lets the loops end, hearing meanwhile whether the daemon is to stop altogether.
async fn end_or_stop(shift: Shift, signals: &mut Signals) -> (Ended, bool) {
    let ending = shift.end();
    tokio::pin!(ending);
    let mut asked = false;
    loop {
        tokio::select! {
            ended = &mut ending => return (ended, asked),
            _ = signals.terminate.recv() => asked = true,
            _ = signals.interrupt.recv() => asked = true,
        }
    }
}

/// Everything that a new configuration needs, made while the old one still runs; nothing of the old one is touched. Another
/// store must be there already, whole, and hold places: a mistyped path is no reason to watch over nothing.
fn reload(
    load: &impl Fn() -> Result<Settings, SettingsError>,
    hold: &Hold,
    now: DateTime<Utc>,
) -> Result<(Daemon, Option<Hold>), String> {
    let settings = load().map_err(|error| error.to_string())?;
    let words = |error: ServiceError| crate::app::context::with_causes(&error);
    let path = settings.store.path.clone();
    let other = if path == hold.path() {
        None
    } else if path.exists() {
        Some(Hold::take(&path).map_err(|error| words(error.into()))?)
    } else {
        return Err(format!("store.path: there is no store {}", path.display()));
    };
    let daemon = Daemon::open(settings, Options::default()).map_err(words)?;
    if other.is_some() {
        let store = &daemon.house().store;
        if store.sites().map_err(|error| words(error.into()))?.is_empty() {
            return Err(format!("store.path: the store {} holds no place", path.display()));
        }
        daemon.begin(now).map_err(|error| words(error.into()))?;
    }
    Ok((daemon, other))
}

fn note_ended(ended: Ended) {
    for task in ended.left {
        tracing::warn!("{} was left in the middle; the next start takes it up", task.name());
    }
}

/// One line for the service manager.
fn status_line(shift: &Shift, now: DateTime<Utc>) -> String {
    let store = shift.store();
    let line = || -> Result<String, crate::app::ports::StoreError> {
        let sites = store.sites()?.len();
        let filter = AlertFilter { open: Some(true), ..AlertFilter::default() };
        let open = store.alert_records(&filter)?;
        let raised = open.iter().filter(|alert| alert.revision > 0).count();
        let blind = open.iter().filter(|alert| alert.kind == "blind" && alert.revision > 0).count();
        let outbox = store.outbox_summary()?;
        let waiting: u32 = [OutboxState::Queued, OutboxState::Leased, OutboxState::Deferred]
            .into_iter()
            .map(|state| outbox.count(state))
            .sum();
        if sites == 0 {
            return Ok("NO PLACE IN THE STORE: nothing is watched".to_owned());
        }
        let mut line = format!("{sites} places, {raised} alerts open, {waiting} letters waiting");
        if blind > 0 {
            line += &format!(", {blind} places without a usable forecast");
        }
        if let Some(oldest) = outbox.oldest_waiting {
            line += &format!(", the oldest for {} min", (now - oldest).num_minutes());
        }
        let mut troubled: Vec<String> =
            store.statuses()?.into_iter().filter(|s| !s.ok).map(|s| s.name).collect();
        // A store that cannot be written cannot note that either.
        let failing = shift.failing().map(str::to_owned);
        troubled.extend(failing.filter(|name| !troubled.contains(name)).collect::<Vec<_>>());
        if !troubled.is_empty() {
            line += &format!("; trouble in {}", troubled.join(", "));
        }
        Ok(line)
    };
    line().unwrap_or_else(|error| format!("the store cannot be read: {error}"))
}
