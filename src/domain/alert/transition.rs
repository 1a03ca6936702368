//! One move of an alert, as its log keeps it.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{Alert, AlertId, Flat};

/// One row of the log of an alert: enough to see why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Transition {
    /// Row of [`TRANSITIONS`](super::TRANSITIONS).
    pub row: u8,
    /// Which alert.
    pub alert: AlertId,
    /// State before.
    pub from: Flat,
    /// State after.
    pub to: Flat,
    /// When.
    pub at: DateTime<Utc>,
    /// A person's id, or `rule`.
    pub actor: String,
    /// Why, in words.
    pub reason: String,
    /// The issue of the forecast that was looked at.
    pub issue: Option<DateTime<Utc>>,
    /// Version of the rules.
    pub rule_version: u32,
}

impl Transition {
    /// The move from one document to the next.
    #[must_use]
    pub fn between(
        row: u8,
        before: &Alert,
        after: &Alert,
        at: DateTime<Utc>,
        actor: &str,
        reason: &str,
        issue: Option<DateTime<Utc>>,
    ) -> Self {
        Self {
            row,
            alert: after.id.clone(),
            from: before.flat(),
            to: after.flat(),
            at,
            actor: actor.to_owned(),
            reason: reason.to_owned(),
            issue,
            rule_version: super::facts::RULE_VERSION,
        }
    }
}
