//! What the application asks of the world outside, as traits: the stores, the weather, the ways out. The adapters implement
//! them; only `daemon`, `sim` and `cli` know which one stands behind which.

pub mod failpoint;

mod alert_store;
mod event_log;
mod forecast_store;
mod outbox;
mod registry;
mod round_store;
mod store_error;
mod upkeep;

pub use alert_store::{AlertFilter, AlertRecord, AlertStore, TransitionRow};
pub use event_log::{Appended, Broken, Entry, EventLog, LogReport, Salt};
pub use forecast_store::{
    ForecastStore, KEPT_BYTES, KeptState, NightStore, ObservationStore, RefusedAnswer,
    RefusedAnswers, StateDocuments, StoredForecast,
};
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
