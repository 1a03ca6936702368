//! The door through which messages leave: a letter becomes RFC 5322 bytes, and the outbox goes out over SMTP or into
//! a Maildir.
//!
//! Invariants: nothing that a person typed reaches a header raw; the same letter gives the same bytes; every attempt
//! ends within its own deadline; an outcome that we do not know is tried again with the same Message-ID.

pub mod channel;
pub mod envelope;
pub mod maildir;
pub mod mime;
pub mod outbox;
pub mod picture;
pub mod received;
pub mod secret;
pub mod smtp;
pub mod webhook;

pub use channel::Channel;
pub use maildir::Maildir;
pub use mime::{MimeError, to_bytes};
pub use outbox::{DeliverReport, Limits, deliver_due};
pub use smtp::{Relay, RelaySettings, Security, Verdict};
