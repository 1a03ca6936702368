//! A spreadsheet of our own: the least that ECMA-376 asks for, in an uncompressed ZIP archive (APPNOTE 6.3.3).

use std::fmt::Write as _;

/// One cell.
#[derive(Clone, Copy)]
pub enum Cell<'a> {
    Text(&'a str),
    Number(f64),
    /// A day number with the format of a date.
    Date(f64),
}

const TYPES: &str = r#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/><Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/></Types>"#;
const ROOT: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const BOOK: &str = r#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="Winter" sheetId="1" r:id="rId1"/></sheets></workbook>"#;
const BOOK_RELS: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" Target="styles.xml"/></Relationships>"#;
const STYLES: &str = r#"<?xml version="1.0"?><styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="22"/></cellXfs></styleSheet>"#;

/// One sheet with these rows, and one merged area such as `A2:A3`.
pub fn workbook(rows: &[Vec<Cell<'_>>], merged: &str) -> Vec<u8> {
    archive(&[
        ("[Content_Types].xml", TYPES),
        ("_rels/.rels", ROOT),
        ("xl/workbook.xml", BOOK),
        ("xl/_rels/workbook.xml.rels", BOOK_RELS),
        ("xl/styles.xml", STYLES),
        ("xl/worksheets/sheet1.xml", &sheet(rows, merged)),
    ])
}

/// Two sheets with the same rows: `Winter` and `November`.
pub fn workbook_of_two(rows: &[Vec<Cell<'_>>]) -> Vec<u8> {
    let part = r#"<Override PartName="/xl/worksheets/sheet2.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>"#;
    let one = r#"<sheet name="November" sheetId="2" r:id="rId3"/></sheets>"#;
    let target = r#"<Relationship Id="rId3" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet2.xml"/></Relationships>"#;
    let sheet = sheet(rows, "Z1:Z2");
    archive(&[
        ("[Content_Types].xml", &TYPES.replace("</Types>", part)),
        ("_rels/.rels", ROOT),
        ("xl/workbook.xml", &BOOK.replace("</sheets>", one)),
        ("xl/_rels/workbook.xml.rels", &BOOK_RELS.replace("</Relationships>", target)),
        ("xl/styles.xml", STYLES),
        ("xl/worksheets/sheet1.xml", &sheet),
        ("xl/worksheets/sheet2.xml", &sheet),
    ])
}

fn sheet(rows: &[Vec<Cell<'_>>], merged: &str) -> String {
    let mut sheet = String::from(
        r#"<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>"#,
    );
    for (number, row) in (1..).zip(rows) {
        write!(sheet, "<row r=\"{number}\">").unwrap();
        for (letter, cell) in ('A'..).zip(row) {
            match cell {
                Cell::Text("") => Ok(()),
                Cell::Text(text) => {
                    write!(
                        sheet,
                        "<c r=\"{letter}{number}\" t=\"inlineStr\"><is><t>{text}</t></is></c>"
                    )
                }
                Cell::Number(value) => {
                    write!(sheet, "<c r=\"{letter}{number}\"><v>{value}</v></c>")
                }
                Cell::Date(value) => {
                    write!(sheet, "<c r=\"{letter}{number}\" s=\"1\"><v>{value}</v></c>")
                }
            }
            .unwrap();
        }
        sheet += "</row>";
    }
    write!(
        sheet,
        "</sheetData><mergeCells count=\"1\"><mergeCell ref=\"{merged}\"/></mergeCells></worksheet>"
    )
    .unwrap();
    sheet
}

fn archive(files: &[(&str, &str)]) -> Vec<u8> {
    let (mut out, mut directory) = (Vec::new(), Vec::new());
    for (name, text) in files {
        let at = u32::try_from(out.len()).unwrap();
        let size = u32::try_from(text.len()).unwrap();
        let name_size = u16::try_from(name.len()).unwrap();
        let mut facts = Vec::new();
        for half in [20_u16, 0, 0, 0, 0] {
            facts.extend(half.to_le_bytes());
        }
        for word in [crc32(text.as_bytes()), size, size] {
            facts.extend(word.to_le_bytes());
        }
        facts.extend(name_size.to_le_bytes());
        facts.extend([0, 0]);
        out.extend(b"PK\x03\x04");
        out.extend(&facts);
        out.extend(name.as_bytes());
        out.extend(text.as_bytes());
        directory.extend(b"PK\x01\x02\x14\x00");
        directory.extend(&facts);
        directory.extend([0; 10]);
        directory.extend(at.to_le_bytes());
        directory.extend(name.as_bytes());
    }
    let (start, length) =
        (u32::try_from(out.len()).unwrap(), u32::try_from(directory.len()).unwrap());
    let count = u16::try_from(files.len()).unwrap().to_le_bytes();
    out.extend(directory);
    out.extend(b"PK\x05\x06\x00\x00\x00\x00");
    out.extend(count);
    out.extend(count);
    out.extend(length.to_le_bytes());
    out.extend(start.to_le_bytes());
    out.extend([0, 0]);
    out
}

/// CRC-32 as in ISO 3309.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 }
        })
    })
}
