//! `verify`: computes every published check value and says which are met.
//!
//! The rows are those of a file, or the built-in ones of `config/catalogue/published_checks.csv`. A quantity that is not
//! known is counted as unknown and never passes.

use std::fmt::Write as _;
use std::io::Read as _;
use std::path::PathBuf;

use serde_json::{Value, json};
use thiserror::Error;

use crate::domain::physics::quantity::{Inputs, compute, unused_inputs};

/// The rows that are compiled in.
pub const BUILT_IN: &str = include_str!("../../config/catalogue/published_checks.csv");

/// The largest file of rows that is read, in bytes: a hundred times the largest known set.
pub const BYTES_MAX: u64 = 4 << 20;

/// Columns that a file of rows must have.
const COLUMNS: [&str; 6] = ["quantity", "inputs", "expected", "unit", "tolerance", "source"];

/// A difference that is only rounding in the last bits, as a share of the tolerance.
const ROUNDING: f64 = 1e-9;

/// Arguments of `verify`.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct VerifyArgs {
    /// CSV with the columns quantity,inputs,expected,unit,tolerance,source; without it the built-in rows
    pub file: Option<PathBuf>,
}

/// Rows that cannot be checked at all.
#[derive(Debug, Error)]
pub enum VerifyError {
    /// The file does not read.
    #[error("reading the check rows of {path}")]
    Read {
        /// Which file.
        path: String,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The file is far too large.
    #[error(
        "{path} has more than {BYTES_MAX} bytes; check rows are short lines, is it the right file?"
    )]
    TooLarge {
        /// Which file.
        path: String,
    },
    /// A column is missing.
    #[error(
        "{name}, line 1: the column `{column}` is missing; the first line must be quantity,inputs,expected,unit,tolerance,source"
    )]
    Column {
        /// Where the rows are from.
        name: String,
        /// Which column.
        column: &'static str,
    },
    /// Rows do not read; every one of them is named.
    #[error("{name}: {}", problems.join("; "))]
    Rows {
        /// Where the rows are from.
        name: String,
        /// Line, column and what would be right.
        problems: Vec<String>,
    },
    /// There is nothing to check.
    #[error("{name} has no rows below its first line; nothing was checked")]
    Empty {
        /// Where the rows are from.
        name: String,
    },
}

/// One checked row.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedRow {
    /// Line in the file, the first line being 1.
    pub line: u64,
    /// Quantity as written.
    pub quantity: String,
    /// Inputs as written.
    pub inputs: String,
    /// Published value.
    pub expected: f64,
    /// Unit as written.
    pub unit: String,
    /// How far off may be right.
    pub tolerance: f64,
    /// Where it was published.
    pub source: String,
    /// What this program computes, where there is an answer.
    pub computed: Option<f64>,
    /// Whether the name of the quantity is known.
    pub known: bool,
    /// Remarks; empty when there are none.
    pub note: String,
}

impl CheckedRow {
    /// Inside its tolerance.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.computed.is_some_and(|computed| {
            (computed - self.expected).abs() <= self.tolerance * (1.0 + ROUNDING)
        })
    }
}

/// Every row, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// In the order of the file.
    pub rows: Vec<CheckedRow>,
}

impl Report {
    /// Rows inside their tolerance.
    #[must_use]
    pub fn passed(&self) -> usize {
        self.rows.iter().filter(|row| row.passes()).count()
    }

    /// Rows of quantities that are not known.
    #[must_use]
    pub fn unknown(&self) -> usize {
        self.rows.iter().filter(|row| !row.known).count()
    }

    /// Rows of known quantities outside their tolerance or without an answer.
    #[must_use]
    pub fn failed(&self) -> usize {
        self.rows.len() - self.passed() - self.unknown()
    }
}

/// Runs the command: text for people, JSON, exit code (0 all pass, 1 some do not, 2 the rows do not read).
#[must_use]
pub fn verify(args: &VerifyArgs) -> (String, Value, u8) {
    let report = match &args.file {
        None => check("the built-in rows", BUILT_IN),
        Some(path) => read(path).and_then(|text| check(&path.display().to_string(), &text)),
    };
    match report {
        Ok(report) => {
            let code = u8::from(report.failed() + report.unknown() > 0);
            (as_text(&report), as_json(&report), code)
        }
        Err(error) => {
            let mut text = error.to_string();
            if let Some(source) = std::error::Error::source(&error) {
                let _ = write!(text, ": {source}");
            }
            (format!("{text}\n"), json!({ "error": text }), 2)
        }
    }
}

fn read(path: &std::path::Path) -> Result<String, VerifyError> {
    let named = || path.display().to_string();
    let refuse = |source| VerifyError::Read { path: named(), source };
    // A device says that it has no bytes and never ends: no more is read than a file of rows may have.
    let mut text = String::new();
    let file = std::fs::File::open(path).map_err(refuse)?;
    file.take(BYTES_MAX + 1).read_to_string(&mut text).map_err(refuse)?;
    if u64::try_from(text.len()).is_ok_and(|bytes| bytes > BYTES_MAX) {
        return Err(VerifyError::TooLarge { path: named() });
    }
    Ok(text)
}

/// Checks the rows of `text`, which came from `name`.
///
/// # Errors
/// [`VerifyError`] when columns are missing or rows do not read; nothing is checked then.
pub fn check(name: &str, text: &str) -> Result<Report, VerifyError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let header = reader.headers().cloned().unwrap_or_default();
    let mut places = [0; COLUMNS.len()];
    for (place, column) in places.iter_mut().zip(COLUMNS) {
        *place = header
            .iter()
            .position(|name| name == column)
            .ok_or_else(|| VerifyError::Column { name: name.to_owned(), column })?;
    }
    let (mut rows, mut problems) = (Vec::new(), Vec::new());
    for record in reader.records() {
        match record {
            Ok(record) => match row_of(&record, places) {
                Ok(row) => rows.push(row),
                Err(wrong) => problems.extend(wrong),
            },
            Err(error) => problems.push(error.to_string()),
        }
    }
    if !problems.is_empty() {
        return Err(VerifyError::Rows { name: name.to_owned(), problems });
    }
    if rows.is_empty() {
        return Err(VerifyError::Empty { name: name.to_owned() });
    }
    Ok(Report { rows })
}

fn row_of(
    record: &csv::StringRecord,
    places: [usize; COLUMNS.len()],
) -> Result<CheckedRow, Vec<String>> {
    let line = record.position().map_or(0, csv::Position::line);
    let [quantity, inputs, expected, unit, tolerance, source] =
        places.map(|place| record.get(place).unwrap_or_default());
    let number = |column: &str, text: &str| {
        text.parse::<f64>().ok().filter(|value| value.is_finite()).ok_or_else(|| {
            format!("line {line}, column {column}: `{text}` is not a number, write it like -13.3")
        })
    };
    let expected = number("expected", expected);
    let tolerance = number("tolerance", tolerance).and_then(|value| {
        if value >= 0.0 {
            Ok(value)
        } else {
            Err(format!("line {line}, column tolerance: {value} is negative, give 0 or more"))
        }
    });
    match (expected, tolerance) {
        (Ok(expected), Ok(tolerance)) => {
            let (computed, known, note) = answer(quantity, inputs);
            Ok(CheckedRow {
                line,
                quantity: quantity.to_owned(),
                inputs: inputs.to_owned(),
                expected,
                unit: unit.to_owned(),
                tolerance,
                source: source.to_owned(),
                computed,
                known,
                note,
            })
        }
        (expected, tolerance) => {
            Err([expected.err(), tolerance.err()].into_iter().flatten().collect())
        }
    }
}

/// The value, whether the quantity is known, and a remark.
fn answer(quantity: &str, inputs: &str) -> (Option<f64>, bool, String) {
    let read = Inputs::parse(inputs);
    let known = |inputs: &Inputs| compute(quantity, inputs);
    match read.as_ref().map_err(Clone::clone).and_then(known) {
        Ok(Some(value)) => {
            let unused = read.map(|inputs| unused_inputs(quantity, &inputs)).unwrap_or_default();
            let note = if unused.is_empty() {
                String::new()
            } else {
                format!("not used: {}", unused.join(" "))
            };
            (Some(value), true, note)
        }
        Ok(None) => (None, false, "this quantity is not known here".to_owned()),
        Err(error) => {
            let known = !matches!(compute(quantity, &Inputs::default()), Ok(None));
            (None, known, error.to_string())
        }
    }
}

fn as_json(report: &Report) -> Value {
    let rows: Vec<Value> = report
        .rows
        .iter()
        .map(|row| {
            json!({
                "line": row.line,
                "quantity": row.quantity,
                "expected": row.expected,
                "computed": row.computed,
                "tolerance": row.tolerance,
                "pass": row.passes(),
                "note": row.note,
            })
        })
        .collect();
    json!({
        "rows": rows,
        "passed": report.passed(),
        "failed": report.failed(),
        "unknown": report.unknown(),
    })
}

fn as_text(report: &Report) -> String {
    let mut text = String::new();
    for row in &report.rows {
        let word = match (row.passes(), row.known) {
            (true, _) => "pass",
            (false, true) => "FAIL",
            (false, false) => "unknown",
        };
        let computed = row.computed.map_or_else(|| "no answer".to_owned(), |v| format!("{v:.6}"));
        let _ = writeln!(text, "{word:<7} line {:<4} {} ({})", row.line, row.quantity, row.inputs);
        let _ = writeln!(
            text,
            "        expected {} computed {computed} tolerance {} {}; {}",
            row.expected, row.tolerance, row.unit, row.source
        );
        if !row.note.is_empty() {
            let _ = writeln!(text, "        {}", row.note);
        }
    }
    let _ = writeln!(
        text,
        "{} passed, {} failed, {} unknown",
        report.passed(),
        report.failed(),
        report.unknown()
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "quantity,inputs,expected,unit,tolerance,source\n";

    fn checked(rows: &str) -> Result<Report, VerifyError> {
        check("here", &format!("{HEADER}{rows}"))
    }

    #[test]
    fn the_built_in_rows_all_pass() {
        let (text, json, code) = verify(&VerifyArgs::default());
        assert_eq!(code, 0, "{text}");
        assert_eq!(json["failed"], 0);
        assert_eq!(json["unknown"], 0);
    }

    #[test]
    fn an_unknown_quantity_never_passes() {
        let report = checked("moon,x=1,1,-,1000,none\ndaily_sine_gain,tau_h=2; period_h=24,0.886,-,0.001,x\ndaily_sine_gain,tau_h=2; period_h=24,0.5,-,0.001,x\n").unwrap();
        assert_eq!((report.passed(), report.failed(), report.unknown()), (1, 1, 1));
        let json = as_json(&report);
        assert_eq!(json["rows"][0]["line"], 2);
        assert_eq!(json["rows"][0]["computed"], Value::Null);
        assert_eq!(json["rows"][0]["pass"], false);
        assert_eq!(json["rows"][1]["pass"], true);
    }

    #[test]
    fn a_row_without_an_answer_fails_with_the_reason() {
        let report =
            checked("daily_sine_gain,tau_h=2,0.886,-,0.001,x\nmoon,nonsense,1,-,1,x\n").unwrap();
        assert_eq!((report.failed(), report.unknown()), (1, 1));
        assert!(report.rows[0].note.contains("period_h"), "{}", report.rows[0].note);
    }

    #[test]
    fn every_bad_row_is_named_with_line_and_column() {
        let error = checked("a,b,one,C,0.1,s\na,b,1,C,-2,s\na,b\n").unwrap_err().to_string();
        for part in ["line 2, column expected", "line 3, column tolerance", "record 3"] {
            assert!(error.contains(part), "{part}: {error}");
        }
        assert!(check("here", "a,b\n1,2\n").unwrap_err().to_string().contains("`quantity`"));
        assert!(matches!(checked(""), Err(VerifyError::Empty { .. })));
    }

    #[test]
    fn a_file_that_is_not_there_is_bad_input() {
        let (text, json, code) = verify(&VerifyArgs { file: Some("/nonexistent/rows.csv".into()) });
        assert_eq!(code, 2);
        assert!(text.contains("/nonexistent/rows.csv") && json["error"].is_string());
    }
}
