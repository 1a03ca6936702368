//! A letter as RFC 5322 and MIME bytes.
//!
//! One tree, plainest part first: `alternative(text/plain; format=flowed, text/html)`, the HTML in `related` with its picture
//! where it has one (RFC 2387), all in `mixed` with a calendar entry where there is one (RFC 2046, 5.1); UTF-8 in quoted-printable,
//! header words as RFC 2047. The bytes depend on the letter alone: the boundary comes from the Message-ID, the date
//! from the letter. What people typed (names, subjects) is cleaned before it becomes a header; what must be exact
//! (addresses, ids) is refused when it is not plain.

pub mod clean;
pub mod flowed;
pub mod plainer;

use chrono::Datelike as _;
use data_encoding::HEXLOWER;
use lettre::message::header::{
    ContentDisposition, ContentId, ContentTransferEncoding, ContentType, HeaderName, HeaderValue,
};
use lettre::message::{Body, Mailbox as LettreMailbox, MessageBuilder, MultiPart, SinglePart};
use ring::digest::{SHA256, digest};
use thiserror::Error;

use crate::domain::message::chart::Picture;
use crate::domain::message::envelope::is_plain_address;
use crate::domain::message::{Email, Mailbox, picture_id};

/// Ids kept in References: the root, and the newest of the others. Readers thread by these; the header stays short.
const REFERENCES_MOST: usize = 20;

/// Why a letter cannot become a message.
#[derive(Debug, Error)]
pub enum MimeError {
    /// An address that may not stand in a header.
    #[error("writing the letter: the {field} address '{}' is not a plain local@domain address; correct it in the list of people", .address.escape_debug())]
    Address {
        /// Which header.
        field: &'static str,
        /// The address.
        address: String,
    },
    /// A Message-ID or list id that may not stand in a header.
    #[error("writing the letter: '{}' is not usable as {field}", .id.escape_debug())]
    Id {
        /// Which header.
        field: &'static str,
        /// The id.
        id: String,
    },
    /// A date that mail cannot carry.
    #[error("writing the letter: a mail cannot be dated {0}; check the clock")]
    Date(String),
    /// The library refused.
    #[error("writing the letter: the message could not be put together")]
    Build(#[from] lettre::error::Error),
    /// The text could not be encoded.
    #[error("writing the letter: the text could not be encoded")]
    Encode,
}

/// Writes a letter as message bytes with CRLF line ends. The same letter gives the same bytes.
///
/// # Errors
/// [`MimeError`] when an address, an id or the date cannot stand in a header; names and subjects are cleaned instead,
/// since a warning must not fail for the sake of a strange name.
pub fn to_bytes(letter: &Email) -> Result<Vec<u8>, MimeError> {
    let message_id = id("Message-ID", &letter.message_id)?;
    let builder = headers(letter, message_id)?;
    let text = part("text/plain; charset=utf-8; format=flowed; delsp=no", {
        flowed::flow(&clean::body_text(&letter.text))
    })?;
    let html = match &letter.html {
        Some(html) => Some(part("text/html; charset=utf-8", clean::body_text(html))?),
        None => None,
    };
    let alternative = |html| {
        let parts = MultiPart::alternative().boundary(boundary(message_id));
        let parts = parts.singlepart(text.clone());
        match &letter.picture {
            // What the HTML shows goes with the HTML (RFC 2387), not beside the letter.
            Some(picture) => {
                let together = boundary(&format!("related {message_id}"));
                let related = MultiPart::related().boundary(together).singlepart(html);
                Ok(parts.multipart(related.singlepart(inline(picture, message_id)?)))
            }
            None => Ok::<_, MimeError>(parts.singlepart(html)),
        }
    };
    let message = match (html, &letter.calendar) {
        (None, None) => builder.singlepart(text)?,
        (Some(html), None) => builder.multipart(alternative(html)?)?,
        (html, Some(calendar)) => {
            let mixed = MultiPart::mixed().boundary(boundary(&format!("mixed {message_id}")));
            let attached = attachment(calendar.clone())?;
            builder.multipart(match html {
                Some(html) => mixed.multipart(alternative(html)?).singlepart(attached),
                None => mixed.singlepart(text.clone()).singlepart(attached),
            })?
        }
    };
    Ok(message.formatted())
}

/// A short text as a message to a gateway: one part, no line of it broken but where the text breaks, since a gateway may
/// pass on what it finds; no answer is asked for.
///
/// # Errors
/// As [`to_bytes`].
pub fn short_to_bytes(letter: &Email, text: &str) -> Result<Vec<u8>, MimeError> {
    let builder = headers(letter, id("Message-ID", &letter.message_id)?)?;
    let text = part("text/plain; charset=utf-8", clean::body_text(text))?;
    Ok(builder.singlepart(text)?.formatted())
}

/// Everything above the body but its type.
fn headers(letter: &Email, message_id: &str) -> Result<MessageBuilder, MimeError> {
    if !(1970..=9999).contains(&letter.date.year()) {
        return Err(MimeError::Date(letter.date.to_rfc3339()));
    }
    let mut builder = MessageBuilder::new()
        .from(mailbox("From", &letter.from)?)
        .to(mailbox("To", &letter.to)?)
        .subject(clean::header_text(&letter.subject))
        .date(letter.date.into())
        .message_id(Some(format!("<{message_id}>")));
    if let Some(reply_to) = &letter.reply_to {
        builder = builder.reply_to(mailbox("Reply-To", reply_to)?);
    }
    if let Some(before) = &letter.in_reply_to {
        builder = builder.in_reply_to(format!("<{}>", id("In-Reply-To", before)?));
    }
    if let Some(references) = references(&letter.references)? {
        builder = builder.references(references);
    }
    // RFC 3834: no vacation program answers this.
    builder = builder.raw_header(plain("Auto-Submitted", "auto-generated".to_owned()));
    if let Some(list) = &letter.list_id {
        builder = builder.raw_header(plain("List-Id", format!("<{}>", list_id(list)?)));
    }
    if let Some(unsubscribe) = &letter.unsubscribe {
        let address = address("List-Unsubscribe", unsubscribe)?;
        builder = builder.raw_header(plain("List-Unsubscribe", format!("<mailto:{address}>")));
    }
    if letter.urgent {
        builder = builder.raw_header(plain("Importance", "high".to_owned()));
    }
    Ok(builder)
}

/// The message with another address of its reader in the To header; nothing else changes.
#[must_use]
pub fn to_address(bytes: &[u8], old: &str, new: &str) -> Vec<u8> {
    let Ok(text) = std::str::from_utf8(bytes) else { return bytes.to_vec() };
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((text, ""));
    let (old, new) = (format!("<{old}>"), format!("<{new}>"));
    let mut in_to = false;
    let lines: Vec<String> = head
        .split("\r\n")
        .map(|line| {
            in_to = line.starts_with("To:") || (in_to && line.starts_with([' ', '\t']));
            if in_to { line.replace(&old, &new) } else { line.to_owned() }
        })
        .collect();
    format!("{}\r\n\r\n{body}", lines.join("\r\n")).into_bytes()
}

/// Quoted-printable never yields `=_`, so no line of a part can be taken for the boundary (RFC 2045, 6.7).
fn boundary(message_id: &str) -> String {
    let hash = HEXLOWER.encode(digest(&SHA256, message_id.as_bytes()).as_ref());
    format!("=_{}", hash.get(..32).unwrap_or(&hash))
}

fn part(content_type: &str, text: String) -> Result<SinglePart, MimeError> {
    let content_type = ContentType::parse(content_type).map_err(|_| MimeError::Encode)?;
    let body = Body::new_with_encoding(text, ContentTransferEncoding::QuotedPrintable)
        .map_err(|_| MimeError::Encode)?;
    Ok(SinglePart::builder().header(content_type).body(body))
}

/// A picture that the HTML names by its id.
fn inline(picture: &Picture, message_id: &str) -> Result<SinglePart, MimeError> {
    let content_type = ContentType::parse("image/png").map_err(|_| MimeError::Encode)?;
    Ok(SinglePart::builder()
        .header(content_type)
        .header(ContentDisposition::inline_with_name("chart.png"))
        .header(ContentId::from(format!("<{}>", picture_id(message_id))))
        .body(Body::new(picture.png.clone())))
}

/// A calendar entry as an attachment, published (RFC 6047): no invitation, so that no program answers it.
fn attachment(calendar: String) -> Result<SinglePart, MimeError> {
    let content_type = ContentType::parse("text/calendar; charset=utf-8; method=PUBLISH")
        .map_err(|_| MimeError::Encode)?;
    let body = Body::new_with_encoding(calendar, ContentTransferEncoding::QuotedPrintable)
        .map_err(|_| MimeError::Encode)?;
    Ok(SinglePart::builder()
        .header(content_type)
        .header(ContentDisposition::attachment("lay-up.ics"))
        .body(body))
}

fn plain(name: &'static str, value: String) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value)
}

fn mailbox(field: &'static str, mailbox: &Mailbox) -> Result<LettreMailbox, MimeError> {
    let plain = address(field, &mailbox.address)?;
    let refused = || MimeError::Address { field, address: mailbox.address.clone() };
    let address = plain.parse().map_err(|_| refused())?;
    let name = clean::header_text(&mailbox.name);
    Ok(LettreMailbox::new((!name.is_empty()).then_some(name), address))
}

fn address<'a>(field: &'static str, address: &'a str) -> Result<&'a str, MimeError> {
    if is_plain_address(address) {
        Ok(address)
    } else {
        Err(MimeError::Address { field, address: address.to_owned() })
    }
}

/// An id of the form `left@right`, as plain as an address.
fn id<'a>(field: &'static str, id: &'a str) -> Result<&'a str, MimeError> {
    if is_plain_address(id) { Ok(id) } else { Err(MimeError::Id { field, id: id.to_owned() }) }
}

/// A list id: dotted labels (RFC 2919).
fn list_id(list: &str) -> Result<&str, MimeError> {
    let label = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    if !list.is_empty() && list.len() <= 60 && list.chars().all(label) {
        Ok(list)
    } else {
        Err(MimeError::Id { field: "List-Id", id: list.to_owned() })
    }
}

/// The References header: the root always, and the newest of the rest, oldest first (RFC 5322, 3.6.4).
fn references(ids: &[String]) -> Result<Option<String>, MimeError> {
    let (Some(root), Some(rest)) = (ids.first(), ids.get(1..)) else { return Ok(None) };
    let newest = rest.get(rest.len().saturating_sub(REFERENCES_MOST - 1)..).unwrap_or(rest);
    let mut text = format!("<{}>", id("References", root)?);
    for reference in newest {
        text.push_str(" <");
        text.push_str(id("References", reference)?);
        text.push('>');
    }
    Ok(Some(text))
}
