//! What can go wrong between us and the store, sorted by what a person or the service has to do about it.

use thiserror::Error;

/// What the engine behind a store said.
pub type EngineError = Box<dyn std::error::Error + Send + Sync>;

/// Why the store did not do what was asked.
#[derive(Debug, Error)]
pub enum StoreError {
    /// Somebody else is writing, or holds the file.
    #[error("{doing}: another program holds the store; stop it or try again in a moment")]
    Locked {
        /// What we were doing.
        doing: String,
        /// The engine's answer.
        #[source]
        source: EngineError,
    },
    /// A daemon has it.
    #[error(
        "the store {} is held by a running daemon; stop that first (systemctl stop rimeward)",
        path.display()
    )]
    Held {
        /// Which store.
        path: std::path::PathBuf,
    },
    /// The file cannot be opened, read or written at all.
    #[error(
        "{doing}: the store cannot be reached; check that the folder exists, is writable and not full"
    )]
    Unreachable {
        /// What we were doing.
        doing: String,
        /// The engine's answer.
        #[source]
        source: EngineError,
    },
    /// The file cannot be created or looked at.
    #[error("{doing}: the store cannot be reached; check that the folder exists and is writable")]
    File {
        /// What we were doing.
        doing: String,
        /// The operating system's answer.
        #[source]
        source: std::io::Error,
    },
    /// The store was written by a newer rimeward.
    #[error(
        "the store has layout {found}, this rimeward knows up to {known}: install the newer version, or restore a backup \
         made before the upgrade"
    )]
    Newer {
        /// Layout found in the file.
        found: i64,
        /// Newest layout this program knows.
        known: i64,
    },
    /// The file is not a store of ours, or is damaged.
    #[error("{doing}: the store is damaged ({what}); restore the latest backup")]
    Damaged {
        /// What we were doing.
        doing: String,
        /// What is wrong.
        what: String,
    },
    /// An event id that stands in the log already, with other content.
    #[error(
        "event {id} stands in the log with other content: the log is never edited, enter a correction under a new id"
    )]
    EventDiffers {
        /// The id.
        id: String,
    },
    /// Another round was committed since this one read the state.
    #[error("another round was committed while this one was being decided: run it again")]
    Overtaken,
    /// An alert that this version cannot read.
    #[error("the alert {id} cannot be read")]
    Alert {
        /// Which one.
        id: String,
        /// The parser's answer.
        #[source]
        source: serde_json::Error,
    },
    /// A document that cannot be written or read as JSON.
    #[error("{doing}: a document is not as this version writes it")]
    Document {
        /// What we were doing.
        doing: String,
        /// The parser's answer.
        #[source]
        source: serde_json::Error,
    },
    /// Something asked for does not make sense.
    #[error("{0}")]
    Refused(String),
    /// Anything else that the engine answers.
    #[error("{doing}: the database refused")]
    Sql {
        /// What we were doing.
        doing: String,
        /// The engine's answer.
        #[source]
        source: EngineError,
    },
}

/// What kind of trouble, for exit codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoreErrorKind {
    /// Another program holds it: exit code 4.
    Locked,
    /// It cannot be reached, read or written: exit code 4.
    Unreachable,
    /// Written by a newer version.
    Newer,
    /// The caller asked for something that cannot be: exit code 2.
    Input,
    /// Try again: nothing was written.
    Overtaken,
    /// Everything else.
    Other,
}

impl StoreError {
    /// What kind of trouble it is.
    #[must_use]
    pub const fn kind(&self) -> StoreErrorKind {
        match self {
            Self::Locked { .. } | Self::Held { .. } => StoreErrorKind::Locked,
            Self::Unreachable { .. } | Self::File { .. } => StoreErrorKind::Unreachable,
            Self::Newer { .. } => StoreErrorKind::Newer,
            Self::EventDiffers { .. } | Self::Refused(_) => StoreErrorKind::Input,
            Self::Overtaken => StoreErrorKind::Overtaken,
            Self::Damaged { .. }
            | Self::Alert { .. }
            | Self::Document { .. }
            | Self::Sql { .. } => StoreErrorKind::Other,
        }
    }
}
