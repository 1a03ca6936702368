//! The worklist goes to each manager when its time has come.

use chrono::NaiveDate;

use crate::domain::boat::{PersonId, SiteId};

/// The name under which the store notes when the last one went out.
pub const RUN: &str = "worklist";

/// The readers of the worklist.
#[derive(Debug, Clone, Copy)]
pub struct WorklistDue<'a> {
    /// Each with the first place that they answer for, `None` where none is listed.
    pub readers: &'a [(PersonId, Option<SiteId>)],
    /// The day that it is for, by the clock of the yard.
    pub day: NaiveDate,
}
