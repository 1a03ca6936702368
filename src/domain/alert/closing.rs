//! How and why an episode ended.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::subject::AlertId;

/// Why an episode ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum CloseReason {
    /// The condition went away.
    Returned,
    /// It came: everything that was in danger is past its limit, and nothing is left to prevent.
    Passed,
    /// The record says that the work is done.
    Done,
    /// Another alert took over.
    Superseded {
        /// Which.
        by: AlertId,
    },
    /// It is not followed any more: by a rule from where the boat stands, or by hand until it is looked at again.
    NotFollowed {
        /// Why, in words.
        why: String,
        /// Until when, where it was taken out by hand.
        until: Option<DateTime<Utc>>,
    },
    /// Issued in error.
    Cancelled {
        /// What was wrong.
        why: String,
    },
}

/// How an episode ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Closing {
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: CloseReason,
}
