//! The loops of the daemon: fetch, judge, deliver, housekeep.
//!
//! Each is an idempotent activation that takes no input but the store and the time; what a loop remembers only spares
//! work. A restart and an ordinary pass are the same path, and the next activation is the retry. Nothing here waits or
//! reads a clock: [`crate::daemon::run`] does, and tests drive the same loops on a clock of their own.

pub mod clients;
pub mod clock;
mod deliver;
pub mod endpoints;
mod fetch;
mod housekeep;
mod judge;
pub mod post;
pub mod run;
mod wiring;
mod task;

use std::path::Path;
use std::sync::Arc;
pub use task::{Done, ShouldContinue, Task};

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::sqlite::Options;
use crate::app::context::{AppContext, ServiceError, with_causes};
use crate::app::notify::Composer;
use crate::app::ports::StoreError;
use crate::app::settings::Settings;
use crate::daemon::post::channel;

pub use deliver::DeliverLoop;
pub use fetch::FetchLoop;
pub use housekeep::HousekeepLoop;
pub use judge::JudgeLoop;

/// A loop that could not do its work tries again after this long.
const AFTER_FAILURE: TimeDelta = TimeDelta::seconds(30);

enum Kind {
    Fetch(FetchLoop),
    Judge(Box<JudgeLoop>),
    Deliver(DeliverLoop),
    Housekeep(HousekeepLoop),
}

/// One loop.
pub struct Loop {
    house: Arc<AppContext>,
    kind: Kind,
    failed_at: Option<DateTime<Utc>>,
}

impl Loop {
    /// Which one.
    #[must_use]
    pub const fn task(&self) -> Task {
        match self.kind {
            Kind::Fetch(_) => Task::Fetch,
            Kind::Judge(_) => Task::Judge,
            Kind::Deliver(_) => Task::Deliver,
            Kind::Housekeep(_) => Task::Housekeep,
        }
    }

    /// Does what is due, and notes in the store how it went.
    ///
    /// # Errors
    /// The store's, or a hole in the tables: nothing half-done is left, and the next activation tries again.
    pub async fn activate(
        &mut self,
        now: DateTime<Utc>,
        should_continue: ShouldContinue<'_>,
    ) -> Result<Done, ServiceError> {
        let house = &*self.house;
        let outcome = match &mut self.kind {
            Kind::Fetch(own) => own.activate(house, now, should_continue).await,
            Kind::Judge(own) => own.activate(house, now),
            Kind::Deliver(own) => own.activate(house, now, should_continue).await,
            Kind::Housekeep(own) => own.activate(house, now).await,
        };
        let name = self.task().name();
        match &outcome {
            Ok(done) => {
                self.failed_at = None;
                house.store.put_status(name, done.ok, now, &done.text)?;
            }
            Err(error) => {
                self.failed_at = Some(now);
                // Where the store itself is the trouble this fails too; the caller logs the first one.
                let _ = house.store.put_status(name, false, now, &with_causes(error));
            }
        }
        outcome
    }

    /// When it has something to do next; `now` or earlier means at once.
    ///
    /// # Errors
    /// The store's.
    pub fn next_due(&self, now: DateTime<Utc>) -> Result<DateTime<Utc>, ServiceError> {
        if let Some(failed) = self.failed_at.filter(|at| *at <= now)
            && now < failed + AFTER_FAILURE
        {
            return Ok(failed + AFTER_FAILURE);
        }
        match &self.kind {
            Kind::Fetch(own) => own.next_due(&self.house, now),
            Kind::Judge(own) => own.next_due(&self.house, now),
            Kind::Deliver(own) => own.next_due(&self.house, now),
            Kind::Housekeep(own) => own.next_due(&self.house, now),
        }
    }
}

/// The four loops over one store.
pub struct Daemon {
    /// What they work on.
    pub house: Arc<AppContext>,
    /// In the order of [`Task::ALL`].
    pub loops: [Loop; 4],
}

impl Daemon {
    /// Opens the store, the way to the weather and the way out by the settings.
    ///
    /// # Errors
    /// [`ServiceError`]: the store, a secret file that others can read, a relay that may not be reached without TLS.
    pub fn open(settings: Settings, options: Options) -> Result<Self, ServiceError> {
        let house = AppContext::open(settings, options)?;
        house.clock.start();
        Self::over(house)
    }

    /// The loops over a store that is open already.
    ///
    /// # Errors
    /// As [`Daemon::open`].
    pub fn over(house: AppContext) -> Result<Self, ServiceError> {
        let mail = &house.settings.mail;
        let composer = Composer::of(&house.settings, &*house.mailer)?;
        let client = house.weather_client()?;
        let way_out = channel(mail, true)?;
        let house = Arc::new(house);
        let kinds = [
            Kind::Fetch(FetchLoop::new(client)),
            Kind::Judge(Box::new(JudgeLoop::new(composer))),
            Kind::Deliver(DeliverLoop::new(way_out)),
            Kind::Housekeep(HousekeepLoop::default()),
        ];
        let loops = kinds.map(|kind| Loop { house: Arc::clone(&house), kind, failed_at: None });
        Ok(Self { house, loops })
    }

    /// Notes that a daemon begins, and looks for damage where the one before it did not end cleanly.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] with what was found.
    pub fn begin(&self, now: DateTime<Utc>) -> Result<(), StoreError> {
        if let Some(before) = self.house.store.mark_running(now)? {
            tracing::warn!(
                "the daemon that began {before} did not end cleanly: checking the store"
            );
            self.house.store.quick_check()?;
        }
        Ok(())
    }

    /// What it works on.
    #[must_use]
    pub fn house(&self) -> &AppContext {
        &self.house
    }

    /// Where the store lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.house.settings.store.path
    }
}
