//! Spreadsheets: the first sheet of an XLSX file as rows of text. Dates come out as ISO dates, merged cells as the value
//! that the merged area shows, formulas as the value that the program which wrote the file last computed.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{Data, DataRef, Dimensions, Reader as _, SheetVisible, Xlsx, XlsxError};
use csv::StringRecord;

use super::rows::{ROWS_MAX, Rows};

/// A compressed file can be many times as large inside; the tables that people keep are far below this.
const BYTES_MAX: usize = 16 * 1024 * 1024;
/// Columns further right than this are nobody's table.
const COLUMNS_MAX: u32 = 512;

/// Is this an XLSX file (a ZIP archive)?
pub(super) fn is_spreadsheet(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
}

/// The first sheet that has any cell.
pub(super) struct Book {
    pub(super) name: String,
    pub(super) header: StringRecord,
    pub(super) rows: Rows,
    /// Further sheets with filled cells.
    pub(super) others: Vec<String>,
}

/// Header and rows of the first sheet that has any cell, and which others hold rows.
///
/// # Errors
/// In words, with what to do.
pub(super) fn rows(bytes: &[u8]) -> Result<Book, String> {
    if bytes.len() > BYTES_MAX {
        return Err("the spreadsheet has more than 16 MiB: save the sheet as CSV".to_owned());
    }
    let told = |error: XlsxError| {
        format!("this is not a spreadsheet that can be read ({error}): save it as XLSX or CSV")
    };
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(told)?;
    // What somebody has hidden is not what they mean to hand in.
    let sheets = book.sheets_metadata().to_vec();
    let (shown, hidden): (Vec<_>, Vec<_>) =
        sheets.into_iter().partition(|sheet| sheet.visible == SheetVisible::Visible);
    let names: Vec<String> = shown.into_iter().chain(hidden).map(|sheet| sheet.name).collect();
    for (number, name) in names.iter().enumerate() {
        // A sheet of charts has no cells, and no merged ones.
        let merged = book.merge_cells_by_sheet_name(name).unwrap_or_default();
        let mut found = cells(&mut book, name)?;
        if found.is_empty() {
            continue;
        }
        spread_merged(&mut found, &merged);
        let (header, rows) = as_records(&found);
        let after = names.iter().skip(number + 1);
        let others = after
            .filter(|other| cells(&mut book, other).is_ok_and(|cells| !cells.is_empty()))
            .cloned()
            .collect();
        return Ok(Book { name: name.clone(), header, rows, others });
    }
    Err("no sheet of the file has a filled cell".to_owned())
}

type Cells = BTreeMap<u32, BTreeMap<u32, String>>;

fn cells(book: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<Cells, String> {
    let told = |error: XlsxError| format!("the sheet {name} cannot be read: {error}");
    let mut reader = book.worksheet_cells_reader(name).map_err(told)?;
    let mut cells = Cells::new();
    while let Some(cell) = reader.next_cell().map_err(told)? {
        let (row, column) = cell.get_position();
        let text = text(cell.get_value());
        if text.is_empty() {
            continue;
        }
        if column >= COLUMNS_MAX {
            return Err(format!("the sheet {name} has more than {COLUMNS_MAX} columns"));
        }
        cells.entry(row).or_default().insert(column, text);
        if cells.len() > ROWS_MAX {
            return Err(format!("the sheet {name} has more than {ROWS_MAX} rows: split it"));
        }
    }
    Ok(cells)
}

/// Every cell of a merged area says what its first one says. Only rows that hold something of their own take part.
fn spread_merged(cells: &mut Cells, merged: &[Dimensions]) {
    for area in merged {
        let ((top, left), (bottom, right)) = (area.start, area.end);
        let Some(value) = cells.get(&top).and_then(|row| row.get(&left)).cloned() else { continue };
        for (_, row) in cells.range_mut(top..=bottom.max(top)) {
            for column in left..=right.min(COLUMNS_MAX) {
                row.entry(column).or_insert_with(|| value.clone());
            }
        }
    }
}

fn as_records(cells: &Cells) -> (StringRecord, Rows) {
    let width = cells
        .values()
        .filter_map(|row| row.last_key_value())
        .map(|(column, _)| column + 1)
        .max()
        .unwrap_or(0);
    let mut rows = cells.iter().map(|(number, row)| {
        let record: StringRecord =
            (0..width).map(|column| row.get(&column).map_or("", String::as_str)).collect();
        (u64::from(*number) + 1, record)
    });
    let header = rows.next().map(|(_, record)| record).unwrap_or_default();
    (header, rows.collect())
}

fn text(value: &DataRef<'_>) -> String {
    match Data::from(value.clone()) {
        Data::Empty => String::new(),
        Data::String(text) | Data::DateTimeIso(text) | Data::DurationIso(text) => text,
        Data::Int(number) => number.to_string(),
        // The shortest text that is the same number, so 12 and not 12.0.
        Data::Float(number) => format!("{number}"),
        Data::Bool(true) => "yes".to_owned(),
        Data::Bool(false) => "no".to_owned(),
        Data::DateTime(at) => {
            let (year, month, day, hour, minute, second, _) = at.to_ymd_hms_milli();
            let date = format!("{year:04}-{month:02}-{day:02}");
            let serial = at.as_f64();
            match (serial < 1.0, serial.fract() == 0.0) {
                (true, _) => format!("{hour:02}:{minute:02}"),
                (false, true) => date,
                (false, false) => format!("{date}T{hour:02}:{minute:02}:{second:02}"),
            }
        }
        // What shows as #REF! is no value; it is refused where a value must stand.
        Data::Error(error) => error.to_string(),
    }
}
