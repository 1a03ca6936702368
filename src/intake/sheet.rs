//! Bytes to rows: byte-order marks, UTF-8 or Windows-1252, comma, semicolon or tab.

use std::collections::HashMap;

use csv::StringRecord;

use super::problems::{ImportProblems, Problem};

/// A file larger than this is not one that a person keeps; 100,000 rows take about 30 MB.
const BYTES_MAX: usize = 64 * 1024 * 1024;
/// More rows than this in one file are refused.
const ROWS_MAX: usize = 200_000;

/// A table as it stands in a file, cells still text.
pub(super) struct Sheet {
    pub(super) file: String,
    columns: HashMap<String, usize>,
    header_names: Vec<String>,
    pub(super) rows: Vec<(u64, StringRecord)>,
}

impl Sheet {
    /// Reads the bytes of a file; refuses it whole if a row does not have the header's number of cells.
    pub(super) fn read(
        bytes: &[u8],
        file: &str,
        required: &[&str],
    ) -> Result<Self, ImportProblems> {
        let refuse = |problems| ImportProblems { file: file.to_owned(), problems };
        let whole = |remedy: &str| {
            refuse(vec![Problem {
                line: 1,
                column: String::new(),
                value: String::new(),
                remedy: remedy.to_owned(),
            }])
        };
        if bytes.len() > BYTES_MAX {
            return Err(whole("the file has more than 64 MiB: split it"));
        }
        let text = decode(bytes).ok_or_else(|| {
            whole("this is not a text table: save it as CSV in UTF-8 or Windows-1252")
        })?;
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter(&text))
            .flexible(true)
            .from_reader(text.as_bytes());
        let header = reader
            .headers()
            .map_err(|error| whole(&format!("the header cannot be read: {error}")))?
            .clone();
        let mut problems = Vec::new();
        let mut columns = HashMap::new();
        let mut header_names = Vec::new();
        for (place, name) in header.iter().enumerate() {
            let name = name.trim().to_lowercase().replace(' ', "_");
            header_names.push(name.clone());
            if !name.is_empty() && columns.insert(name.clone(), place).is_some() {
                problems.push(at(1, &name, "", "the column stands twice: keep one"));
            }
        }
        for name in required.iter().filter(|name| !columns.contains_key(**name)) {
            let like =
                crate::domain::catalogue::nearest(name, header_names.iter().map(String::as_str));
            let remedy = match like {
                Some(like) => format!("the column is missing; is it {like}?"),
                None => "the column is missing: add it to the header".to_owned(),
            };
            problems.push(at(1, name, "", &remedy));
        }
        if !problems.is_empty() {
            return Err(refuse(problems));
        }
        let rows = records(&mut reader, header.len(), &mut problems);
        if problems.is_empty() {
            Ok(Self { file: file.to_owned(), columns, header_names, rows })
        } else {
            Err(refuse(problems))
        }
    }

    /// A sheet of one row, from cells that were given one by one.
    pub(super) fn single(file: &str, cells: &[(String, String)]) -> Self {
        let columns = (0..).zip(cells).map(|(place, (name, _))| (name.clone(), place)).collect();
        let header_names = cells.iter().map(|(name, _)| name.clone()).collect();
        let record = cells.iter().map(|(_, cell)| cell.as_str()).collect();
        Self { file: file.to_owned(), columns, header_names, rows: vec![(1, record)] }
    }

    /// The place of a column.
    pub(super) fn column(&self, name: &str) -> Option<usize> {
        self.columns.get(name).copied()
    }

    /// A note for each column that is not among the known ones.
    pub(super) fn notes(&self, known: &[&str]) -> Vec<String> {
        self.header_names
            .iter()
            .filter(|name| !name.is_empty() && !known.contains(&name.as_str()))
            .map(|name| format!("{}: the column {name} is not used", self.file))
            .collect()
    }
}

fn records(
    reader: &mut csv::Reader<&[u8]>,
    cells: usize,
    problems: &mut Vec<Problem>,
) -> Vec<(u64, StringRecord)> {
    let mut rows = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(0, csv::Position::line);
                if record.iter().all(|cell| cell.trim().is_empty()) {
                    continue;
                }
                if record.len() != cells {
                    let remedy = format!(
                        "the row has {} cells and the header {cells}: quote a cell that has the separator in it",
                        record.len()
                    );
                    problems.push(at(line, "", "", &remedy));
                }
                rows.push((line, record));
            }
            Err(error) => {
                let line = error.position().map_or(0, csv::Position::line);
                problems.push(at(line, "", "", &format!("the row cannot be read: {error}")));
            }
        }
        if rows.len() > ROWS_MAX {
            problems.push(at(0, "", "", "more than 200,000 rows: split the file"));
            break;
        }
    }
    rows
}

fn at(line: u64, column: &str, value: &str, remedy: &str) -> Problem {
    Problem { line, column: column.to_owned(), value: value.to_owned(), remedy: remedy.to_owned() }
}

/// UTF-8 with or without its mark, UTF-16 with its mark, else Windows-1252; `None` for what holds zero bytes.
fn decode(bytes: &[u8]) -> Option<String> {
    let utf16 = |read: fn([u8; 2]) -> u16, rest: &[u8]| {
        let units: Vec<u16> =
            rest.chunks_exact(2).filter_map(|pair| pair.try_into().ok().map(read)).collect();
        String::from_utf16(&units).ok()
    };
    if let Some(rest) = bytes.strip_prefix(&[0xFF, 0xFE]) {
        return utf16(u16::from_le_bytes, rest);
    }
    if let Some(rest) = bytes.strip_prefix(&[0xFE, 0xFF]) {
        return utf16(u16::from_be_bytes, rest);
    }
    let bytes = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
    if bytes.contains(&0) {
        return None;
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Some(text.to_owned()),
        Err(_) => Some(bytes.iter().copied().map(windows_1252).collect()),
    }
}

/// The 32 places in which Windows-1252 differs from Latin-1 (WHATWG encoding index).
const HIGH: [char; 32] = [
    '\u{20AC}', '\u{81}', '\u{201A}', '\u{192}', '\u{201E}', '\u{2026}', '\u{2020}', '\u{2021}',
    '\u{2C6}', '\u{2030}', '\u{160}', '\u{2039}', '\u{152}', '\u{8D}', '\u{17D}', '\u{8F}',
    '\u{90}', '\u{2018}', '\u{2019}', '\u{201C}', '\u{201D}', '\u{2022}', '\u{2013}', '\u{2014}',
    '\u{2DC}', '\u{2122}', '\u{161}', '\u{203A}', '\u{153}', '\u{9D}', '\u{17E}', '\u{178}',
];

fn windows_1252(byte: u8) -> char {
    byte.checked_sub(0x80)
        .and_then(|place| HIGH.get(usize::from(place)).copied())
        .unwrap_or_else(|| char::from(byte))
}

/// The separator that the header line uses most.
fn delimiter(text: &str) -> u8 {
    let header = text.lines().next().unwrap_or_default();
    let count = |wanted: char| {
        let mut quoted = false;
        header
            .chars()
            .filter(|letter| {
                quoted ^= *letter == '"';
                !quoted && *letter == wanted
            })
            .count()
    };
    let (semicolons, tabs, commas) = (count(';'), count('\t'), count(','));
    if tabs > commas && tabs > semicolons {
        b'\t'
    } else if semicolons > commas {
        b';'
    } else {
        b','
    }
}
