//! What the application asks of the world outside, as traits: the stores, the weather, the ways out. The adapters implement
//! them; only `daemon`, `sim` and `cli` know which one stands behind which.

pub mod failpoint;

mod alert_store;
mod courier;
mod day_archive;
mod event_log;
mod forecast_store;
mod mailer;
mod outbox;
mod registry;
mod round_store;
mod store_error;
mod weather;
mod upkeep;

pub use alert_store::{AlertFilter, AlertRecord, AlertStore, TransitionRow};
pub use courier::{Courier, Endpoint, Endpoints, NoteAnswer, Verdict};
pub use day_archive::{ArchivedDays, DayArchive};
pub use event_log::{Appended, Broken, Entry, EventLog, LogReport, Salt};
pub use forecast_store::{
    ForecastStore, KEPT_BYTES, KeptState, NightStore, ObservationStore, RefusedAnswer,
    RefusedAnswers, StateDocuments, StoredForecast,
};
pub use mailer::{MailError, Mailer, RECEIVED_BYTES_MAX, Received};
pub use outbox::{
    Cause, Due, Fault, Held, HeldBy, HeldLetters, LetterCounts, LetterLeases, LetterMarks,
    MessageCount, Outbox, OutboxRow, OutboxState, OutboxSummary, Patience, Plainer, Posted,
    Rewritten, TEXTS, Undelivered, UndeliveredLetters, Unsendable, WEBHOOKS, Wait, Waiting,
};
pub use registry::{
    ExposureMemory, Filling, LoopStatus, Registry, RunLog, SlushMemory, YardCounts,
};
pub use round_store::{Committed, RoundCommit, RoundStore};
pub use store_error::{EngineError, StoreError, StoreErrorKind};
pub use upkeep::Upkeep;
pub use weather::{
    FetchState, NoticeState, Outcome, Pending, Service, SetAside, StationState, WeatherSource,
    WeatherSources,
};

pub use crate::domain::risk::judge::Parallel;

/// Says what time it is. What does not own a clock takes the instant as an argument.
pub trait Clock: Send + Sync {
    /// The present.
    fn now(&self) -> chrono::DateTime<chrono::Utc>;
}

/// What the application stands on.
#[derive(Debug)]
pub struct Ports {
    /// Everything that is kept.
    pub store: Box<dyn AppStore>,
    /// Mail as bytes.
    pub mailer: Box<dyn Mailer>,
    /// Past days of the places.
    pub day_archive: Box<dyn DayArchive>,
}

/// Everything that is kept, as the application holds it.
pub trait AppStore:
    std::fmt::Debug + EventLog + ForecastStore + AlertStore + Outbox + Registry + RoundStore + Upkeep
{
}

impl<S> AppStore for S where
    S: std::fmt::Debug
        + EventLog
        + ForecastStore
        + AlertStore
        + Outbox
        + Registry
        + RoundStore
        + Upkeep
{
}
