//! What is known of the last requests for one place, and what came of the newest.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use crate::domain::weather::Forecast;
use crate::domain::weather::official::Official;

/// No wait that is ever set is longer, in hours; a longer one means that the clock has been put back.
const WAIT_HOURS_MAX: i64 = 24;

/// Pacing and validators for one place and service. The caller stores it, before the forecast is used.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct FetchState {
    /// Validator of the last document.
    pub etag: Option<String>,
    /// `Last-Modified` of the last document, exactly as sent.
    pub last_modified: Option<String>,
    /// Nothing is asked before this.
    pub not_before: Option<DateTime<Utc>>,
    /// Failures since the last answer.
    pub consecutive_failures: u32,
    /// When a document or "not modified" last came.
    pub last_answer_at: Option<DateTime<Utc>>,
    /// Where the place's grid is, below the base address, which may change between runs.
    pub grid_path: Option<String>,
    /// The land beside it whose cell stands for a place on the water, as `44.21,-69.07`.
    pub land: Option<String>,
    /// When land was last looked for.
    pub searched_at: Option<DateTime<Utc>>,
    /// When the place's cell was found out.
    pub resolved_at: Option<DateTime<Utc>>,
    /// Words for the last failure; `None` after an answer.
    pub last_failure: Option<String>,
    /// The service refuses to serve this place, or us; until it next answers.
    pub refused: bool,
}

/// What came of one call.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// A newer issue, and the length of its document in bytes.
    Fresh(Box<Forecast>, usize),
    /// The service answered: what is stored is still the newest.
    NotModified,
    /// It is not time yet; nothing was asked.
    NotDue {
        /// When it will be.
        until: DateTime<Utc>,
    },
    /// The service answered with an issue older than the stored one, or too old to use: what is stored stays.
    Stale {
        /// Words.
        why: String,
    },
    /// Trouble that passes: what is stored stays, and the next call tries again.
    Transient {
        /// Words.
        why: String,
    },
    /// We ask too much.
    Throttled {
        /// When we may again.
        until: DateTime<Utc>,
    },
    /// The service refuses us: a person must look at the contact and the base address.
    Blocked {
        /// Words.
        why: String,
    },
    /// The service does not serve this place.
    Permanent {
        /// Words.
        why: String,
    },
    /// An answer that cannot be used.
    Malformed {
        /// Words.
        why: String,
    },
}

impl Outcome {
    /// One word for logs and counters.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Fresh(..) => "fresh",
            Self::NotModified => "not-modified",
            Self::NotDue { .. } => "not-due",
            Self::Stale { .. } => "stale",
            Self::Transient { .. } => "transient",
            Self::Throttled { .. } => "throttled",
            Self::Blocked { .. } => "blocked",
            Self::Permanent { .. } => "permanent",
            Self::Malformed { .. } => "malformed",
        }
    }

    /// Did the service answer with a document of its own, or "not modified"?
    #[must_use]
    pub const fn is_answer(&self) -> bool {
        matches!(self, Self::Fresh(..) | Self::NotModified | Self::Stale { .. })
    }
}

/// What is known of the notices of a place. The caller stores it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct NoticeState {
    /// In force when they were last read.
    pub notices: Vec<Official>,
    /// When they were last read.
    pub read_at: Option<DateTime<Utc>>,
    /// Nothing is asked before this.
    pub not_before: Option<DateTime<Utc>>,
    /// Failures since the last answer.
    pub failures: u32,
    /// Words for the last failure; `None` after an answer.
    pub last_failure: Option<String>,
}

impl NoticeState {
    /// Is it time to ask?
    #[must_use]
    pub fn is_due(&self, now: DateTime<Utc>) -> bool {
        self.not_before.is_none_or(|at| at <= now || at - now > TimeDelta::hours(WAIT_HOURS_MAX))
    }
}

/// What is known about the stations of a place. The caller stores it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct StationState {
    /// Identifier, kilometres, metres of height; the nearest first.
    pub stations: Vec<(String, f64, Option<f64>)>,
    /// When the list was last asked for.
    pub listed_at: Option<DateTime<Utc>>,
    /// Nothing is asked before this.
    pub not_before: Option<DateTime<Utc>>,
    /// Failures since the last reading.
    pub failures: u32,
    /// Words for the last failure; `None` after a reading.
    pub last_failure: Option<String>,
}

impl StationState {
    /// Is it time to ask? A wait far beyond any that we set means that the clock has been put back since.
    #[must_use]
    pub fn is_due(&self, now: DateTime<Utc>) -> bool {
        self.not_before.is_none_or(|at| at <= now || at - now > TimeDelta::hours(WAIT_HOURS_MAX))
    }
}

/// An answer that cannot serve, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// In words.
    pub why: String,
    /// As it came.
    pub body: Vec<u8>,
}
