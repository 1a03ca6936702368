//! Marks in a cell that nobody sees and that nobody meant: control characters drive terminals and break headers, marks of
//! direction make one name look like another (Unicode Technical Report 36). They are refused at the door.

use csv::StringRecord;

use super::problems::Problem;
use crate::domain::units::is_hidden;

/// Longest id; an id is printed in tables and subjects.
const ID_LETTERS_MAX: usize = 64;

/// Every cell with a mark that cannot be seen, every name of more than one line and every id longer than 64 letters.
pub(super) fn problems(header: &[String], rows: &[(u64, StringRecord)]) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (line, record) in rows {
        for (column, cell) in header.iter().zip(record) {
            let Some(remedy) = fault(column, cell.trim()) else { continue };
            problems.push(Problem {
                line: *line,
                column: column.to_owned(),
                value: cell.trim().to_owned(),
                remedy,
            });
        }
    }
    problems
}

fn fault(column: &str, cell: &str) -> Option<String> {
    let is_id = column.ends_with("_id");
    if is_id && cell.chars().count() > ID_LETTERS_MAX {
        return Some(format!("an id has at most {ID_LETTERS_MAX} letters: give it a shorter one"));
    }
    if cell.bytes().all(|byte| matches!(byte, b' '..=b'~')) {
        return None;
    }
    if let Some(letter) = cell.chars().find(|letter| is_hidden(*letter)) {
        return Some(format!(
            "has a character that cannot be seen (U+{:04X}): type the cell anew",
            u32::from(letter)
        ));
    }
    let one_line = is_id || column.ends_with("name") || column == "corrects";
    (one_line && cell.contains(['\n', '\r', '\t', '\u{2028}', '\u{2029}']))
        .then(|| "must stand on one line: take out the line break or tab".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_that_cannot_be_seen_are_named() {
        let long = "x".repeat(65);
        for (column, cell, wrong) in [
            ("boat_id", "B02", false),
            ("boat_id", "A/12", false),
            ("boat_id", "B02\u{1b}[31m", true),
            ("boat_id", "B\n02", true),
            ("boat_id", long.as_str(), true),
            ("boat_name", "Kite\r\nBcc: all@example.org", true),
            ("boat_name", "Zoë \u{1F6A4}", false),
            ("boat_name", "\u{202E}etiK", true),
            ("note", "two\nlines\tand a tab", false),
            ("note", "bell\u{7}", true),
        ] {
            assert_eq!(fault(column, cell).is_some(), wrong, "{column} {cell:?}");
        }
    }
}
