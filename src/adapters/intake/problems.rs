//! Why a file was refused: every bad row, with what would be right.

use std::fmt;

use thiserror::Error;

use crate::domain::message::words::one_line;

/// So many letters of a bad value are shown.
const VALUE_LETTERS: usize = 60;

/// One thing that is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Line of the file, from 1; the header's where a column is missing.
    pub line: u64,
    /// Name of the column, empty where the whole row is meant.
    pub column: String,
    /// The value as it stands there.
    pub value: String,
    /// What is wrong and what would be right.
    pub remedy: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "line {}", self.line)?;
        if !self.column.is_empty() {
            write!(out, ", column {}", self.column)?;
        }
        if !self.value.is_empty() {
            write!(out, ", \"{}\"", one_line(&self.value, VALUE_LETTERS))?;
        }
        write!(out, ": {}", self.remedy)
    }
}

/// A file of which nothing was taken.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub struct ImportProblems {
    /// Name of the file, as the caller gave it.
    pub file: String,
    /// Everything that is wrong, in the order of the lines.
    pub problems: Vec<Problem>,
}

impl fmt::Display for ImportProblems {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            out,
            "importing {}: nothing was taken, {} to correct",
            self.file,
            self.problems.len()
        )?;
        self.problems.iter().try_for_each(|problem| write!(out, "\n  {problem}"))
    }
}
