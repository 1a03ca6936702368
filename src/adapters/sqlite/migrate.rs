//! Brings a store forward, one numbered step at a time, each in its own transaction.

use rusqlite::{Connection, TransactionBehavior};

use super::error::Doing as _;
use crate::app::ports::StoreError;

/// The steps in order. One that has landed is never edited: what it got wrong is mended by the next.
const STEPS: &[(i64, &str)] = &[
    (1, include_str!("migrations/0001_yard_and_log.sql")),
    (2, include_str!("migrations/0002_forecasts.sql")),
    (3, include_str!("migrations/0003_alerts_and_outbox.sql")),
    (5, include_str!("migrations/0005_exposure.sql")),
    (6, include_str!("migrations/0006_observation.sql")),
    (7, include_str!("migrations/0007_first_attempt.sql")),
    (8, include_str!("migrations/0008_held_letters.sql")),
    (9, include_str!("migrations/0009_nights.sql")),
    (10, include_str!("migrations/0010_unknown_outcomes.sql")),
    (11, include_str!("migrations/0011_separated.sql")),
    (12, include_str!("migrations/0012_refused.sql")),
];

/// The newest layout this program knows.
#[must_use]
pub fn newest_layout() -> i64 {
    STEPS.last().map_or(0, |(number, _)| *number)
}

/// The layout of the open database; 0 for an empty one.
pub(crate) fn layout(connection: &Connection) -> Result<i64, StoreError> {
    connection
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .context("reading the layout of the store")
}

/// Runs every step above the layout found, up to and including `up_to`.
///
/// # Errors
/// [`StoreError::Newer`] when the file knows more than we do; anything SQLite answers, with the step undone.
pub(crate) fn forward(connection: &mut Connection, up_to: i64) -> Result<i64, StoreError> {
    let found = layout(connection)?;
    let known = newest_layout();
    if found > known {
        return Err(StoreError::Newer { found, known });
    }
    for (number, text) in STEPS.iter().filter(|(number, _)| *number > found && *number <= up_to) {
        let doing = format!("bringing the store to layout {number}");
        let step =
            connection.transaction_with_behavior(TransactionBehavior::Immediate).context(&doing)?;
        // Two programs may start at once: whoever waited for the other finds the step done.
        if layout(&step)? >= *number {
            continue;
        }
        step.execute_batch(text).context(&doing)?;
        step.pragma_update(None, "user_version", number).context(&doing)?;
        crate::app::ports::failpoint::hit("during_migration");
        step.commit().context(&doing)?;
    }
    layout(connection)
}
