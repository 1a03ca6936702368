//! A picture as the HTML of a letter shows it.

use serde::Serialize;

/// The name under which the HTML of a letter finds its picture (RFC 2392): of the form of a Message-ID, and no other's.
#[must_use]
pub fn picture_id(message_id: &str) -> String {
    format!("chart.{message_id}")
}

/// A picture as the HTML shows it.
#[derive(Serialize)]
pub(super) struct Shown<'a> {
    pub(super) cid: String,
    pub(super) alt: &'a str,
}
