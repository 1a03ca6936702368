//! What the XML readers share: a bounded walk over elements and their text. Names are compared without their prefix;
//! text in ISO-8859-1 is read loosely, since only numbers, stamps and ASCII names are taken from it. Entities that a
//! document defines itself are never expanded.

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::{BODY_BYTES_MAX, PayloadError};

/// Deepest nesting that is followed; the services' documents have fewer than ten levels.
const DEPTH_MAX: usize = 64;
/// Most pieces that are looked at.
const EVENTS_MAX: usize = 2_000_000;

/// One piece of a document.
pub(super) enum Piece<'a> {
    /// An element begins.
    Start(&'a BytesStart<'a>),
    /// Text inside the element on top of the path.
    Text(&'a str),
    /// The element on top of the path ends.
    End,
}

/// Walks `body` and hands each piece with the path of local names down to it. Documents that are cut short are refused.
///
/// # Errors
/// [`PayloadError::TooLarge`], [`PayloadError::NotXml`].
pub(super) fn walk(
    body: &[u8],
    limit: usize,
    mut take: impl FnMut(&[String], Piece<'_>),
) -> Result<(), PayloadError> {
    let limit = limit.max(BODY_BYTES_MAX);
    if body.len() > limit {
        return Err(PayloadError::TooLarge { bytes: body.len(), limit });
    }
    let refuse = |why: String| PayloadError::NotXml { why };
    let text = String::from_utf8_lossy(body);
    let mut reader = Reader::from_str(&text);
    let mut path: Vec<String> = Vec::new();
    let mut seen_any = false;
    for _ in 0..EVENTS_MAX {
        let at = reader.buffer_position();
        let event = reader.read_event().map_err(|e| refuse(format!("{e} near byte {at}")))?;
        match event {
            Event::Start(start) => {
                if path.len() >= DEPTH_MAX {
                    return Err(refuse(format!("nested deeper than {DEPTH_MAX} levels")));
                }
                seen_any = true;
                path.push(start.local_name().as_ref().to_owned());
                take(&path, Piece::Start(&start));
            }
            Event::Empty(start) => {
                path.push(start.local_name().as_ref().to_owned());
                take(&path, Piece::Start(&start));
                take(&path, Piece::End);
                path.pop();
            }
            Event::Text(text) => take(&path, Piece::Text(&text)),
            Event::End(_) => {
                take(&path, Piece::End);
                path.pop();
            }
            Event::Eof if path.is_empty() && seen_any => return Ok(()),
            Event::Eof => return Err(refuse("the document is cut short or empty".into())),
            _ => {}
        }
    }
    Err(refuse("the document has too many parts".into()))
}

/// An attribute by its local name.
pub(super) fn attribute(start: &BytesStart<'_>, name: &str) -> Option<String> {
    let mut attributes = start.attributes();
    let found = attributes.with_checks(false).take(40).flatten();
    let mut found = found.filter(|a| a.key.local_name().as_ref() == name);
    found.next().map(|a| a.value.into_owned())
}
