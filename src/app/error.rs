//! What keeps the application from doing its work.

use thiserror::Error;

use crate::app::ports::StoreError;
use crate::domain::catalogue::CatalogueError;
use crate::domain::risk::judge::JudgeError;

/// What keeps the service from doing its work.
#[derive(Debug, Error)]
pub enum ServiceError {
    /// The tables that are compiled in.
    #[error("reading the catalogue")]
    Catalogue(#[from] CatalogueError),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The weather client.
    #[error("setting up the weather client")]
    Client(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// A circuit that cannot be judged.
    #[error(transparent)]
    Judge(#[from] JudgeError),
    /// Something that a person has to mend, in words.
    #[error("{0}")]
    Told(String),
}

/// An error with its causes, each once.
#[must_use]
pub fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let words = cause.to_string();
        if !text.contains(&words) {
            text = format!("{text}: {words}");
        }
        next = cause.source();
    }
    text
}
