//! Bytes out of a ZIP archive with one document in it (the KMZ of the German service), bounded in size.
//!
//! Only what such archives use is read: stored or deflated entries, no encryption, no 64-bit extension (PKWARE's
//! APPNOTE.TXT 6.3, sections 4.3.7, 4.3.12 and 4.3.16).

use std::io::Read;

use flate2::read::DeflateDecoder;

/// Largest document that is unpacked, in bytes. One station's forecast has 350 kB; the file of all stations is refused.
pub const UNPACKED_BYTES_MAX: u64 = 16 * 1024 * 1024;

const END_OF_DIRECTORY: &[u8] = b"PK\x05\x06";
const DIRECTORY_ENTRY: &[u8] = b"PK\x01\x02";
const LOCAL_ENTRY: &[u8] = b"PK\x03\x04";
/// The end record is looked for in the last so many bytes: its own 22 and a comment of up to 65,535.
const END_REACH: usize = 22 + 65_535;
const STORED: u16 = 0;
const DEFLATED: u16 = 8;
/// Bit 0 of the flags: encrypted.
const ENCRYPTED: u16 = 1;

/// Does this begin like a ZIP archive?
#[must_use]
pub fn is_archive(body: &[u8]) -> bool {
    body.starts_with(LOCAL_ENTRY)
}

/// The first entry of the archive.
///
/// # Errors
/// Words for what is wrong with it.
pub fn first_entry(body: &[u8]) -> Result<Vec<u8>, &'static str> {
    let broken = "the archive is cut short or not a ZIP archive";
    let from = body.len().saturating_sub(END_REACH);
    let tail = body.get(from..).unwrap_or_default();
    let end = tail
        .windows(END_OF_DIRECTORY.len())
        .rposition(|four| four == END_OF_DIRECTORY)
        .map(|at| from.saturating_add(at))
        .ok_or(broken)?;
    let directory = usize::try_from(long(body, end, 16).ok_or(broken)?).map_err(|_| broken)?;
    if body.get(directory..).is_none_or(|rest| !rest.starts_with(DIRECTORY_ENTRY)) {
        return Err(broken);
    }
    let flags = short(body, directory, 8).ok_or(broken)?;
    let method = short(body, directory, 10).ok_or(broken)?;
    let packed = long(body, directory, 20).ok_or(broken)?;
    let local = usize::try_from(long(body, directory, 42).ok_or(broken)?).map_err(|_| broken)?;
    if flags & ENCRYPTED != 0 {
        return Err("the archive is encrypted");
    }
    if body.get(local..).is_none_or(|rest| !rest.starts_with(LOCAL_ENTRY)) {
        return Err(broken);
    }
    let name = usize::from(short(body, local, 26).ok_or(broken)?);
    let extra = usize::from(short(body, local, 28).ok_or(broken)?);
    let start = local.saturating_add(30).saturating_add(name).saturating_add(extra);
    let length = usize::try_from(packed).map_err(|_| broken)?;
    let data = body.get(start..start.saturating_add(length)).ok_or(broken)?;
    let mut whole = Vec::new();
    let limit = UNPACKED_BYTES_MAX.saturating_add(1);
    let read = match method {
        STORED => data.take(limit).read_to_end(&mut whole),
        DEFLATED => DeflateDecoder::new(data).take(limit).read_to_end(&mut whole),
        _ => return Err("the archive is packed in a way that is not read here"),
    };
    read.map_err(|_| "the archive is damaged")?;
    if u64::try_from(whole.len()).is_ok_and(|length| length > UNPACKED_BYTES_MAX) {
        return Err("the archive unpacks to more than 16 MiB; take the file of one station");
    }
    Ok(whole)
}

fn short(body: &[u8], record: usize, at: usize) -> Option<u16> {
    let at = record.checked_add(at)?;
    let bytes = body.get(at..at.checked_add(2)?)?;
    Some(u16::from_le_bytes(bytes.try_into().ok()?))
}

fn long(body: &[u8], record: usize, at: usize) -> Option<u32> {
    let at = record.checked_add(at)?;
    let bytes = body.get(at..at.checked_add(4)?)?;
    Some(u32::from_le_bytes(bytes.try_into().ok()?))
}
