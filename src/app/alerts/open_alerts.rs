//! The alerts that are not closed, read once a round for all kinds, and what there was before them.

use std::collections::BTreeMap;

use crate::app::error::ServiceError;
use crate::app::ports::AlertStore;
use crate::domain::alert::{Alert, Kind, Subject};
use crate::domain::boat::BoatId;

/// Every alert that matters for the next decision.
#[derive(Debug, Default)]
pub struct OpenAlerts {
    open: BTreeMap<(Kind, String), Alert>,
    closed: BTreeMap<(String, String), u32>,
}

impl OpenAlerts {
    /// Reads them.
    ///
    /// # Errors
    /// The store's, or an alert document that cannot be read.
    pub fn read(store: &dyn AlertStore) -> Result<Self, ServiceError> {
        let mut found = Self::default();
        for alert in store.open_alerts()? {
            found.open.insert((alert.kind, alert.subject.as_str().to_owned()), alert);
        }
        for (kind, subject, count) in store.closed_counts()? {
            found.closed.insert((kind, subject), count);
        }
        Ok(found)
    }

    /// The alert of a kind about a subject that is not closed.
    #[must_use]
    pub fn of(&self, kind: Kind, subject: &str) -> Option<&Alert> {
        self.open.get(&(kind, subject.to_owned()))
    }

    /// How many of a kind about a boat or a place are closed: numbers the next one.
    #[must_use]
    pub fn closed(&self, kind: Kind, subject: &str) -> u32 {
        self.closed.get(&(kind.as_str().to_owned(), subject.to_owned())).copied().unwrap_or(0)
    }

    /// All of a kind.
    pub fn of_kind(&self, kind: Kind) -> impl Iterator<Item = &Alert> {
        self.open.values().filter(move |alert| alert.kind == kind)
    }

    /// All of every kind.
    pub fn all(&self) -> impl Iterator<Item = &Alert> {
        self.open.values()
    }
}

/// The alert of a kind about a boat that was closed last.
///
/// # Errors
/// The store's, or an alert document that cannot be read.
pub fn last_closed(
    store: &dyn AlertStore,
    kind: Kind,
    boat: &BoatId,
) -> Result<Option<Alert>, ServiceError> {
    Ok(store.last_closed(kind.as_str(), boat)?)
}

/// Is the alert about this person?
#[must_use]
pub fn person_of(alert: &Alert) -> Option<&crate::domain::boat::PersonId> {
    match &alert.subject {
        Subject::Person(person) => Some(person),
        _ => None,
    }
}
