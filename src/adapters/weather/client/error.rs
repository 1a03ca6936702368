//! Why a client could not be made.

use thiserror::Error;

/// Why a client could not be made.
#[derive(Debug, Error)]
pub enum ClientError {
    /// The base address is not one.
    #[error("{base} is not a base address: give one such as {example}, without a path")]
    Base {
        /// What was given.
        base: String,
        /// The service's public one.
        example: &'static str,
    },
    /// No contact.
    #[error(
        "the weather services require a contact; give a mail address or a page, not {contact:?}"
    )]
    Contact {
        /// What was given.
        contact: String,
    },
    /// The cryptography provider was not installed before.
    #[error("no TLS provider is installed; the program must install one before it makes a client")]
    NoProvider,
    /// The HTTP library refused.
    #[error("setting up the HTTP client for {base}")]
    Build {
        /// The base address.
        base: String,
        /// Why.
        #[source]
        source: reqwest::Error,
    },
}
