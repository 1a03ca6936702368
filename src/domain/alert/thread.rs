//! The thread that letters about one alert make.

use super::{Alert, AlertId};
use crate::domain::boat::PersonId;

/// The thread that a word about an alert belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thread {
    /// Which alert.
    pub alert: AlertId,
    /// Its revision.
    pub revision: u32,
    /// The revisions that the reader has had before, oldest first.
    pub earlier: Vec<u32>,
}

impl Thread {
    /// The thread of `alert`, as it is after the decision, for one reader.
    #[must_use]
    pub fn of(alert: &Alert, reader: &PersonId) -> Self {
        let sent = alert.told.get(reader).map_or(&[][..], |ledger| ledger.sent.as_slice());
        let earlier = sent.iter().map(|sent| sent.revision);
        Self {
            alert: alert.id.clone(),
            revision: alert.revision,
            earlier: earlier.filter(|revision| *revision < alert.revision).collect(),
        }
    }
}
