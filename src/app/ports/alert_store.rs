//! Alerts as they stand, and every transition with what it was decided on.

use chrono::{DateTime, Utc};
use serde::Deserialize as _;
use serde_json::Value;

use crate::app::ports::StoreError;
use crate::domain::alert::Alert;
use crate::domain::boat::{BoatId, SiteId};

/// An alert as it stands now.
#[derive(Debug, Clone, PartialEq)]
pub struct AlertRecord {
    /// Its id, for ever.
    pub id: String,
    /// `freeze`, `blind` ...
    pub kind: String,
    /// The boat, unless it is about a place or the service.
    pub boat: Option<BoatId>,
    /// The place.
    pub site: SiteId,
    /// Not yet closed.
    pub open: bool,
    /// How often it was told, from 1.
    pub revision: u32,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// When it was closed.
    pub closed_at: Option<DateTime<Utc>>,
    /// The decider's own state.
    pub document: Value,
}

impl AlertRecord {
    /// The decider's own state, read.
    ///
    /// # Errors
    /// [`StoreError::Alert`]: not as this version writes it.
    pub fn alert(&self) -> Result<Alert, StoreError> {
        Alert::deserialize(&self.document)
            .map_err(|source| StoreError::Alert { id: self.id.clone(), source })
    }
}

/// One transition of an alert, never changed.
#[derive(Debug, Clone, PartialEq)]
pub struct TransitionRow {
    /// The alert.
    pub alert: String,
    /// The revision that it led to.
    pub revision: u32,
    /// When it was decided.
    pub at: DateTime<Utc>,
    /// What changed: `raised`, `updated`, `closed` ...
    pub change: String,
    /// What it was decided on: numbers, texts, versions, seed. `explain` prints this and recomputes nothing.
    pub decided_on: Value,
}

/// Which alerts to list; `None` is any.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AlertFilter {
    /// Only open or only closed ones.
    pub open: Option<bool>,
    /// Only this kind.
    pub kind: Option<String>,
    /// Only this boat.
    pub boat: Option<BoatId>,
    /// Only this place.
    pub site: Option<SiteId>,
}

/// Alerts and their lives.
pub trait AlertStore: Send + Sync {
    /// How many closed alerts there are of each kind about each boat, or place where there is no boat.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn closed_counts(&self) -> Result<Vec<(String, String, u32)>, StoreError>;

    /// Alerts that are not closed, oldest first.
    ///
    /// # Errors
    /// [`StoreError::Alert`] names one that cannot be read; otherwise whatever the database answers.
    fn open_alerts(&self) -> Result<Vec<Alert>, StoreError>;

    /// Alerts that fit the filter, oldest first.
    ///
    /// # Errors
    /// [`StoreError::Alert`] names one that cannot be read; otherwise whatever the database answers.
    fn alerts(&self, filter: &AlertFilter) -> Result<Vec<Alert>, StoreError>;

    /// The rows of alerts that fit the filter, oldest first, also of those that this version cannot read.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn alert_records(&self, filter: &AlertFilter) -> Result<Vec<AlertRecord>, StoreError>;

    /// The alert of this kind about a boat that was closed last.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn last_closed(&self, kind: &str, boat: &BoatId) -> Result<Option<Alert>, StoreError>;

    /// One alert.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn alert(&self, id: &str) -> Result<Option<AlertRecord>, StoreError>;

    /// What happened to an alert, oldest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn transitions(&self, alert: &str) -> Result<Vec<TransitionRow>, StoreError>;
}
