//! Every row of a table, or none.

use std::collections::BTreeSet;
use std::fmt::Display;

use crate::adapters::intake::Imported;
use crate::adapters::intake::problems::{ImportProblems, Problem};
use crate::adapters::intake::row::Row;
use crate::adapters::intake::sheet::Sheet;

/// Reads every row of a sheet with `read`; a row that it returns `None` for has left a problem.
pub(super) fn import<T, I: Ord + Display>(
    sheet: &Sheet,
    id_column: &str,
    notes: Vec<String>,
    mut read: impl FnMut(&mut Row<'_>, &mut Vec<String>) -> Option<T>,
    id: impl Fn(&T) -> I,
) -> Result<Imported<T>, ImportProblems> {
    let mut problems: Vec<Problem> = Vec::new();
    let mut notes = notes;
    let mut seen = BTreeSet::new();
    let mut rows = Vec::with_capacity(sheet.rows.len());
    for (line, record) in &sheet.rows {
        let mut row = Row { sheet, record, line: *line, problems: &mut problems };
        let before = row.problems.len();
        let value = read(&mut row, &mut notes);
        if let Some(value) = value {
            if !seen.insert(id(&value)) {
                row.refuse(id_column, "this id stands in the file already: each row needs its own");
            }
            rows.push(value);
        } else if row.problems.len() == before {
            row.refuse("", "the row cannot be read");
        }
    }
    problems.extend(sheet.problems.iter().cloned());
    problems.sort_by_key(|problem| problem.line);
    if problems.is_empty() {
        Ok(Imported { rows, notes, columns: sheet.columns() })
    } else {
        Err(ImportProblems { file: sheet.file.clone(), problems })
    }
}
