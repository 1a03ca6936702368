//! Looking after the store: checks, and what may go.

use std::path::Path;

use chrono::{DateTime, Utc};

use crate::app::ports::StoreError;

/// Looking after the store.
pub trait Upkeep: Send + Sync {
    /// Looks for damage in the file without comparing every index: seconds for a large store.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] with the first finding.
    fn quick_check(&self) -> Result<(), StoreError>;

    /// Looks for damage in the file, indexes and references included: for the night.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] with the first finding.
    fn full_check(&self) -> Result<(), StoreError>;

    /// Removes up to `most` forecasts and readings that were fetched before `before`, the oldest first, and says how many.
    /// What was in hand when an alert changed at the same place stays for ever: somebody may ask what it was decided on.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn thin_forecasts(&self, before: DateTime<Utc>, most: u32) -> Result<usize, StoreError>;

    /// Every table as text, in a fixed order: two stores with the same content give the same bytes.
    ///
    /// # Errors
    /// Whatever the database answers.
    fn dump(&self) -> Result<String, StoreError>;

    /// Writes a consistent copy to `path`, readable by its owner only, while others go on writing.
    ///
    /// # Errors
    /// [`StoreError::Refused`] when there is a file already; whatever the disk answers.
    fn backup(&self, path: &Path) -> Result<(), StoreError>;
}
