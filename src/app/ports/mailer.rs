//! Mail as bytes: written, and read when it comes back.

use std::fmt::Debug;
use std::path::Path;

use crate::app::ports::Fault;
use crate::domain::message::{Email, MessageKey};

/// What is read of a message: the answer and the notice stand before what is attached.
pub const RECEIVED_BYTES_MAX: usize = 256 * 1024;

/// Why something cannot become a message, in words.
pub type MailError = Box<dyn std::error::Error + Send + Sync>;

/// What a message that came back is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Received {
    /// A letter did not arrive, for good.
    Bounced {
        /// Of which letter.
        token: String,
        /// Whose fault it is, by the status code.
        fault: Fault,
        /// The server's words.
        why: String,
    },
    /// A notice about a letter that changes nothing: it is late, or has arrived.
    Noticed {
        /// Of which letter.
        token: String,
        /// `delayed`, `delivered` ...
        what: String,
    },
    /// Somebody has answered.
    Answered {
        /// Which letter.
        token: String,
        /// The address that it says it comes from.
        from: Option<String>,
        /// What they wrote themselves.
        text: String,
    },
    /// A machine has answered: nobody has read anything.
    Automatic {
        /// Which letter.
        token: String,
    },
    /// Not to an address of ours.
    Foreign,
}

/// Writes mail, and reads what comes back.
pub trait Mailer: Debug + Send + Sync {
    /// A letter as message bytes. The same letter gives the same bytes.
    ///
    /// # Errors
    /// An address, an id or the date cannot stand in a header.
    fn to_bytes(&self, letter: &Email) -> Result<Vec<u8>, MailError>;

    /// A short text as a message to a gateway: one part, no line of it broken but where the text breaks.
    ///
    /// # Errors
    /// As [`Mailer::to_bytes`].
    fn short_to_bytes(&self, letter: &Email, text: &str) -> Result<Vec<u8>, MailError>;

    /// The bytes of a letter with another address in its header.
    fn to_address(&self, bytes: &[u8], from: &str, to: &str) -> Vec<u8>;

    /// A drawing (SVG) as a picture that mail programs show (PNG).
    ///
    /// # Errors
    /// It cannot be drawn.
    fn picture(&self, svg: &str) -> Result<Vec<u8>, MailError>;

    /// The key that makes Message-IDs which outsiders cannot guess: that of `file`, else this installation's own, which is made at
    /// the first start and kept beside the store.
    ///
    /// # Errors
    /// A file that cannot be read or that others can, a folder that takes none.
    fn id_key(&self, file: Option<&Path>, store: &Path) -> Result<MessageKey, MailError>;

    /// Reads a message as it came in; `desk` is the address that our letters come from. Whatever cannot be read is
    /// [`Received::Foreign`].
    ///
    /// # Errors
    /// No thread to read it on.
    fn read(&self, bytes: &[u8], desk: &str) -> std::io::Result<Received>;
}
