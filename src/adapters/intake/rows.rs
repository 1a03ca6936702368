//! Rows of a table, still text.

use csv::StringRecord;

/// More rows than this in one file are refused.
pub(super) const ROWS_MAX: usize = 200_000;

/// Rows with their lines in the file.
pub(super) type Rows = Vec<(u64, StringRecord)>;
