//! What every kind of alert gathers from.

use chrono::{DateTime, Utc};

use super::open_alerts::OpenAlerts;
use crate::app::assess::Assessment;
use crate::app::context::AppContext;

/// What every kind gathers from.
pub(crate) struct Gathering<'a> {
    /// Store, tables, settings.
    pub(crate) app: &'a AppContext,
    /// The look over the places that are judged in this round.
    pub(crate) seen: &'a Assessment,
    /// What is open.
    pub(crate) open: &'a OpenAlerts,
    /// The worklist goes out in this round.
    pub(crate) worklist_due: bool,
    /// The round.
    pub(crate) now: DateTime<Utc>,
}
