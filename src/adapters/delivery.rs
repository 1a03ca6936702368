//! The door through which messages leave: a letter becomes RFC 5322 bytes, which go out over SMTP or into
//! a Maildir; what comes back is read here too.
//!
//! Invariants: nothing that a person typed reaches a header raw; the same letter gives the same bytes; every attempt
//! ends within its own deadline; an outcome that we do not know is tried again with the same Message-ID.

pub mod channel;
mod id_key;
mod internet_mail;
pub mod maildir;
pub mod mime;
pub mod picture;
pub mod received;
pub mod secret;
pub mod smtp;
pub mod webhook;

pub use channel::Channel;
pub use internet_mail::InternetMail;
pub use maildir::Maildir;
pub use mime::{MimeError, to_bytes};
pub use smtp::{Relay, RelaySettings, Security, Verdict};
