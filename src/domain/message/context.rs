//! What every letter needs besides what it says.

use chrono::{DateTime, Utc};

use super::chart::Picture;
use super::identity::MessageKey;
use super::phrases::Phrases;
use crate::domain::boat::CircuitId;
use crate::domain::yard::{Person, Site};

/// Who writes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sender {
    /// The source people know, such as `Quillback freeze desk`.
    pub desk: String,
    /// Address that the letters come from.
    pub address: String,
    /// Answers by mail are read: letters about a danger get an address of their own for them.
    pub replies: bool,
    /// Domain of the Message-IDs.
    pub domain: String,
    /// Domain of the list ids, such as `quillback.example.org`.
    pub list_domain: Option<String>,
    /// Address for List-Unsubscribe mail.
    pub unsubscribe: Option<String>,
}

/// What every letter needs besides what it says.
#[derive(Clone, Copy)]
pub struct Context<'a> {
    /// The phrase catalogue.
    pub phrases: &'a Phrases,
    /// Who writes.
    pub sender: &'a Sender,
    /// Key of the Message-IDs.
    pub key: &'a MessageKey,
    /// Who reads.
    pub person: &'a Person,
    /// The place concerned; its zone is the letter's.
    pub site: &'a Site,
    /// A circuit in the owner's words.
    pub label: &'a dyn Fn(&CircuitId) -> String,
    /// Date header, fixed when the letter enters the outbox.
    pub date: DateTime<Utc>,
    /// A picture for the reader.
    pub picture: Option<&'a Picture>,
}

/// The default label of a circuit: its id with spaces.
#[must_use]
pub fn plain_label(circuit: &CircuitId) -> String {
    circuit.as_str().replace('_', " ")
}
