//! Words and standard formats for one thing to tell one person.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// A name and an address.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mailbox {
    /// Name shown, any Unicode; control characters are refused where the bytes are made.
    pub name: String,
    /// Address, `local@domain`.
    pub address: String,
}

/// A finished letter to one person, before it becomes RFC 5322 bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Letter {
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
}
