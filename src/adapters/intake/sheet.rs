//! Bytes to rows: spreadsheets, or text with byte-order marks, UTF-8 or Windows-1252, comma, semicolon or tab.

use std::collections::HashMap;

use super::dates::{DateOrder, is_ambiguous, order_shown};
use super::layout::{Layout, heading};
use super::problems::{ImportProblems, Problem};
use super::rows::{ROWS_MAX, Rows};
use super::{hidden, xlsx};

/// A file larger than this is not one that a person keeps; 100,000 rows take about 30 MB.
const BYTES_MAX: usize = 64 * 1024 * 1024;

/// A table as it stands in a file, cells still text.
pub(super) struct Sheet {
    pub(super) file: String,
    columns: HashMap<String, usize>,
    header_names: Vec<String>,
    pub(super) rows: Rows,
    /// Which number of a date is the day.
    pub(super) order: DateOrder,
    order_note: Option<String>,
    /// Sheets of a spreadsheet that were not read, columns of ticks.
    aside: Vec<String>,
    tick_headings: Vec<String>,
    /// What is wrong with the table itself: rows of another width, hidden characters. Told together with what is wrong
    /// in its rows; nothing of it is taken.
    pub(super) problems: Vec<Problem>,
}

impl Sheet {
    /// Reads the bytes of a file. A row without the header's number of cells is named in [`Sheet::problems`] and left out.
    pub(super) fn read(
        bytes: &[u8],
        file: &str,
        required: &[&str],
        layout: &Layout,
    ) -> Result<Self, ImportProblems> {
        let refuse = |problems| ImportProblems { file: file.to_owned(), problems };
        let whole = |remedy: &str| refuse(vec![at(1, "", "", remedy)]);
        if bytes.len() > BYTES_MAX {
            return Err(whole("the file has more than 64 MiB: split it"));
        }
        let mut problems = Vec::new();
        let mut aside = Vec::new();
        let (header, rows) = if xlsx::is_spreadsheet(bytes) {
            let book = xlsx::rows(bytes).map_err(|why| whole(&why))?;
            if !book.others.is_empty() {
                aside.push(format!(
                    "{file}: only the sheet {} was read; {} holds rows too and was NOT read: save each as a file of its own and import that",
                    book.name,
                    book.others.join(", ")
                ));
            }
            (book.header, book.rows)
        } else {
            let text = decode(bytes).ok_or_else(|| {
                whole("this is not a table: save it as XLSX, or as CSV in UTF-8 or Windows-1252")
            })?;
            // The reader counts lines by their last character, which comes after the row where there are two.
            let mut text = text.replace("\r\n", "\n");
            // A spreadsheet's hint at its own separator: the line stays, so that the others keep their numbers.
            if text.starts_with("sep=") {
                let end = text.find('\n').unwrap_or(text.len());
                text.replace_range(..end, "");
            }
            let separator = delimiter(&text);
            if let Some(line) = open_quote(&text, char::from(separator)) {
                let remedy = "a quotation mark is opened here and never closed, so that the rows after it would be taken for its words: close it, or write \"\" for one that is meant";
                return Err(refuse(vec![at(line, "", "", remedy)]));
            }
            let mut reader = csv::ReaderBuilder::new()
                .delimiter(separator)
                .flexible(true)
                .from_reader(text.as_bytes());
            let header = reader
                .headers()
                .map_err(|error| whole(&format!("the header cannot be read: {error}")))?
                .clone();
            let rows = records(&mut reader, header.len(), &mut problems);
            (header, rows)
        };
        let mut columns = HashMap::new();
        let mut header_names = Vec::new();
        let mut missing = Vec::new();
        for (place, name) in header.iter().enumerate() {
            let name = heading(name);
            let name = layout.columns.get(&name).cloned().unwrap_or(name);
            header_names.push(name.clone());
            if !name.is_empty() && columns.insert(name.clone(), place).is_some() {
                missing.push(at(1, &name, "", "the column stands twice: keep one"));
            }
        }
        if !missing.is_empty() {
            return Err(refuse(missing));
        }
        let mut sheet = Self {
            file: file.to_owned(),
            columns,
            header_names,
            rows,
            order: layout.usual_order(),
            order_note: None,
            aside,
            tick_headings: layout.ticks.iter().map(|tick| tick.heading.clone()).collect(),
            problems: Vec::new(),
        };
        sheet.require(required)?;
        sheet.settle_order(&mut problems);
        problems.extend(sheet.hidden());
        sheet.problems = problems;
        Ok(sheet)
    }

    /// Refuses the sheet where one of these columns is missing.
    pub(super) fn require(&self, required: &[&str]) -> Result<(), ImportProblems> {
        let mut missing = Vec::new();
        for name in required.iter().filter(|name| !self.columns.contains_key(**name)) {
            let names = self.header_names.iter().map(String::as_str);
            let remedy = match crate::domain::catalogue::nearest(name, names) {
                Some(like) => format!(
                    "the column is missing; is it {like}? Then say so in [import.columns]: \"{like}\" = \"{name}\""
                ),
                None => {
                    "the column is missing: add it to the header, or name yours in [import.columns]"
                        .to_owned()
                }
            };
            missing.push(at(1, name, "", &remedy));
        }
        if missing.is_empty() {
            Ok(())
        } else {
            Err(ImportProblems { file: self.file.clone(), problems: missing })
        }
    }

    /// One order of day and month for the whole file: as its own dates show it, else the usual one, which is noted.
    fn settle_order(&mut self, problems: &mut Vec<Problem>) {
        let mut shown: Option<(DateOrder, u64, String)> = None;
        let mut doubtful = None;
        let dates: Vec<usize> = (0..)
            .zip(&self.header_names)
            .filter(|(_, name)| name.ends_with("_at") || name.ends_with("date"))
            .map(|(place, _)| place)
            .collect();
        for (line, record) in &self.rows {
            for cell in dates.iter().filter_map(|place| record.get(*place)).map(str::trim) {
                match (order_shown(cell), &shown) {
                    (Some(order), None) => shown = Some((order, *line, cell.to_owned())),
                    (Some(order), Some((other, there, like))) if order != *other => {
                        let remedy = format!(
                            "day and month stand the other way round than in line {there} ({like}): write dates as 2022-10-03"
                        );
                        problems.push(at(*line, "", cell, &remedy));
                        return;
                    }
                    (None, _) if doubtful.is_none() && is_ambiguous(cell) => {
                        doubtful = Some((*line, cell.to_owned()));
                    }
                    _ => {}
                }
            }
        }
        match (shown, doubtful) {
            (Some((order, ..)), _) => self.order = order,
            (None, Some((line, cell))) => {
                let read = match self.order {
                    DateOrder::DayFirst => "day, month, year",
                    DateOrder::MonthFirst => "month, day, year",
                };
                self.order_note = Some(format!(
                    "{}: dates such as {cell} (line {line}) are read as {read}; import.day_first in the configuration says otherwise",
                    self.file
                ));
            }
            (None, None) => {}
        }
    }

    /// A sheet of one row, from cells that were given one by one.
    pub(super) fn single(file: &str, cells: &[(String, String)]) -> Self {
        let columns = (0..).zip(cells).map(|(place, (name, _))| (name.clone(), place)).collect();
        let header_names = cells.iter().map(|(name, _)| name.clone()).collect();
        let record = cells.iter().map(|(_, cell)| cell.as_str()).collect();
        Self {
            file: file.to_owned(),
            columns,
            header_names,
            rows: vec![(1, record)],
            order: DateOrder::MonthFirst,
            order_note: None,
            aside: Vec::new(),
            tick_headings: Vec::new(),
            problems: Vec::new(),
        }
    }

    /// Cells with characters that nobody sees.
    pub(super) fn hidden(&self) -> Vec<Problem> {
        hidden::problems(&self.header_names, &self.rows)
    }

    /// The columns by our names.
    pub(super) fn columns(&self) -> Vec<String> {
        self.header_names.clone()
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
            .map(|name| match self.tick_headings.contains(name) {
                true => format!(
                    "{}: the ticks of the column {name} are read by `import events` and not here",
                    self.file
                ),
                false => format!("{}: the column {name} is not used", self.file),
            })
            .chain(self.order_note.clone())
            .chain(self.aside.clone())
            .collect()
    }
}

fn records(reader: &mut csv::Reader<&[u8]>, cells: usize, problems: &mut Vec<Problem>) -> Rows {
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
                    continue;
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

/// The line of a quotation mark that opens a cell and is never closed (RFC 4180, 2.5 to 2.7).
fn open_quote(text: &str, separator: char) -> Option<u64> {
    let (mut line, mut opened) = (1_u64, None);
    let mut begins = true;
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match (letter, opened) {
            ('"', None) if begins => opened = Some(line),
            ('"', Some(_)) if letters.peek() == Some(&'"') => {
                letters.next();
            }
            ('"', Some(_)) => opened = None,
            _ => {}
        }
        begins = opened.is_none() && (letter == separator || letter == '\n');
        line += u64::from(letter == '\n');
    }
    opened
}

/// The separator that the header line uses most.
fn delimiter(text: &str) -> u8 {
    let header = text.lines().find(|line| !line.is_empty()).unwrap_or_default();
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
    // Of two that are used as often the first.
    let known = [(',', b','), (';', b';'), ('\t', b'\t'), ('|', b'|')];
    let most = known.iter().rev().max_by_key(|(letter, _)| count(*letter));
    most.map_or(b',', |(_, byte)| *byte)
}
