//! What the service manager is told, by the notify protocol of systemd (`sd_notify(3)`): nothing where nobody listens.

use chrono::TimeDelta;
use sd_notify::NotifyState;

/// How often the status line is renewed where no watchdog asks for more.
const STATUS_EVERY_S: i64 = 60;

/// The way to the service manager.
#[derive(Debug)]
pub(crate) struct Manager {
    interval: TimeDelta,
}

impl Default for Manager {
    fn default() -> Self {
        // Twice within the time that the watchdog allows, as its manual asks.
        let asked = sd_notify::watchdog_enabled()
            .and_then(|allowed| i64::try_from(allowed.as_millis()).ok())
            .map(|allowed| TimeDelta::milliseconds((allowed / 2).max(1)));
        let usual = TimeDelta::seconds(STATUS_EVERY_S);
        Self { interval: asked.map_or(usual, |asked| asked.min(usual)) }
    }
}

impl Manager {
    /// How often it wants to hear that we are alive.
    pub(crate) const fn interval(&self) -> TimeDelta {
        self.interval
    }

    pub(crate) fn ready(&self, status: &str) {
        say(&[NotifyState::Ready, NotifyState::Status(status)]);
    }

    /// The time tells the manager that this answers its request and no earlier one.
    pub(crate) fn reloading(&self) {
        match NotifyState::monotonic_usec_now() {
            Ok(now) => say(&[NotifyState::Reloading, now]),
            Err(error) => tracing::warn!("reading the monotonic clock: {error}"),
        }
    }

    pub(crate) fn stopping(&self) {
        say(&[NotifyState::Stopping, NotifyState::Status("stopping")]);
    }

    pub(crate) fn status(&self, text: &str) {
        say(&[NotifyState::Status(text)]);
    }

    pub(crate) fn alive(&self) {
        say(&[NotifyState::Watchdog]);
    }
}

fn say(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::debug!("telling the service manager: {error}");
    }
}
