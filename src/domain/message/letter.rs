//! A finished letter to one person, before it becomes bytes.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::chart::Picture;

/// A name and an address.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mailbox {
    /// Name shown, any Unicode; control characters are refused where the bytes are made.
    pub name: String,
    /// Address, `local@domain`; empty where none is listed.
    pub address: String,
}

/// A finished letter to one person, before it becomes RFC 5322 bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Email {
    /// Message-ID without angle brackets.
    pub message_id: String,
    /// Date header, fixed when the letter enters the outbox.
    pub date: DateTime<Utc>,
    /// Sender, the source people know.
    pub from: Mailbox,
    /// Where answers go.
    pub reply_to: Option<Mailbox>,
    /// The reader.
    pub to: Mailbox,
    /// Subject, 60 characters or fewer where the boat's name allows.
    pub subject: String,
    /// Plain text, complete without the HTML.
    pub text: String,
    /// HTML with the same words.
    pub html: Option<String>,
    /// Message-ID of the revision before.
    pub in_reply_to: Option<String>,
    /// Message-IDs of all earlier revisions, oldest first.
    pub references: Vec<String>,
    /// RFC 2919 list id without brackets, such as `freeze.quillback.example.org`.
    pub list_id: Option<String>,
    /// Address for List-Unsubscribe mail.
    pub unsubscribe: Option<String>,
    /// Importance: high.
    pub urgent: bool,
    /// A calendar entry that goes with it.
    #[serde(default)]
    pub calendar: Option<String>,
    /// The same in a short text for telephones, for what a short text is good for.
    #[serde(default)]
    pub short: Option<String>,
    /// A picture that the HTML shows; the text says all of it.
    #[serde(skip)]
    pub picture: Option<Picture>,
}
