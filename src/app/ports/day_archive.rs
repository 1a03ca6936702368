//! Past days of a place, from a file that the settings name.

use std::fmt::Debug;
use std::path::Path;

use crate::domain::weather::seasons::Day;

/// What an archive holds.
#[derive(Debug, Clone, PartialEq)]
pub struct ArchivedDays {
    /// The days with both values, in order.
    pub days: Vec<Day>,
    /// Whose days they are, where the file says so.
    pub source: Option<String>,
}

/// Reads archives of days.
pub trait DayArchive: Debug + Send + Sync {
    /// Reads an archive; in a table with a `station` column only the rows of `station` count, where there are any.
    ///
    /// # Errors
    /// In words: it cannot be read, is too large or no archive.
    fn read(
        &self,
        file: &Path,
        station: &str,
    ) -> Result<ArchivedDays, Box<dyn std::error::Error + Send + Sync>>;
}
