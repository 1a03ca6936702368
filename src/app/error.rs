//! What keeps the application from doing its work. The causes are printed once, at the edge ([`with_causes`]).

use std::path::PathBuf;

use thiserror::Error;

use crate::app::ports::{MailError, StoreError};
use crate::domain::boat::PersonId;
use crate::domain::catalogue::CatalogueError;
use crate::domain::message::MessageError;
use crate::domain::physics::TableError;
use crate::domain::risk::judge::JudgeError;

/// An error of whatever stands behind a port, or of whoever wires them.
pub type OtherError = Box<dyn std::error::Error + Send + Sync>;

/// What keeps the service from doing its work.
#[derive(Debug, Error)]
pub enum ServiceError {
    /// The tables that are compiled in.
    #[error("reading the catalogue")]
    Catalogue(#[from] CatalogueError),
    /// One of the tables of physics.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The weather client.
    #[error("setting up the weather client")]
    Client(#[source] OtherError),
    /// A circuit that cannot be judged.
    #[error(transparent)]
    Judge(#[from] JudgeError),
    /// An archive of past days.
    #[error(transparent)]
    PastSeasons(#[from] PastSeasonsError),
    /// The crew of a plan.
    #[error(transparent)]
    Crew(#[from] CrewError),
    /// A message that came in.
    #[error("reading a message: {0}")]
    Message(#[source] std::io::Error),
    /// The machine has none to give.
    #[error("the machine gives no random numbers")]
    NoRandomness,
    /// A thread panicked: what it was doing.
    #[error("{0} came to a sudden end")]
    ThreadDied(&'static str),
    /// Something outside of the application: a key file, the relay, the demonstration's folder.
    #[error(transparent)]
    Outside(OtherError),
    /// The words of the letters.
    #[error("reading the phrases")]
    Phrases(#[source] MessageError),
    /// The yard's worklist.
    #[error("writing the worklist")]
    Worklist(#[source] MessageError),
    /// Somebody is to get a worklist who answers for no place.
    #[error("{person} answers for no place that is listed")]
    NoPlace {
        /// Who.
        person: PersonId,
    },
    /// A schedule of the settings.
    #[error("{key}: {why}")]
    Schedule {
        /// Its key.
        key: &'static str,
        /// What is wrong with it, in words.
        why: String,
    },
    /// A letter that waits for the yard.
    #[error("letter {letter}")]
    Held {
        /// Its number in the outbox.
        letter: i64,
        /// Why it cannot be written anew.
        source: HeldError,
    },
    /// An alert that somebody acts on is no longer in the store.
    #[error("the alert {id} has gone")]
    AlertGone {
        /// Its id.
        id: String,
    },
    /// A document of the store cannot be written.
    #[error("writing {what} as JSON")]
    Document {
        /// Of what.
        what: &'static str,
        /// Why.
        source: serde_json::Error,
    },
    /// The machine gives nothing to wait with.
    #[error("no runtime")]
    Runtime(#[source] std::io::Error),
}

/// Why a letter that waits for the yard cannot be written anew.
#[derive(Debug, Error)]
pub enum HeldError {
    /// It does not wait.
    #[error("is not held")]
    NotHeld,
    /// An older or newer version has kept it.
    #[error("what it was written from cannot be read")]
    Unreadable(#[source] serde_json::Error),
    /// Whom it is for is no longer listed.
    #[error("its reader has gone")]
    ReaderGone,
    /// The place that it tells of is no longer listed.
    #[error("its place has gone")]
    PlaceGone,
    /// It cannot be put into words.
    #[error(transparent)]
    Words(#[from] MessageError),
    /// It cannot become a mail.
    #[error(transparent)]
    Mail(MailError),
}

/// Why an archive of past days says nothing.
#[derive(Debug, Error)]
pub enum PastSeasonsError {
    /// It cannot be read, or is none.
    #[error("{}: {source}", .file.display())]
    Unreadable {
        /// Which file.
        file: PathBuf,
        /// Why.
        source: OtherError,
    },
    /// Too few winters in it.
    #[error(
        "{}: has {found} complete winters for {station}; {least} at least say something",
        .file.display()
    )]
    FewWinters {
        /// Which file.
        file: PathBuf,
        /// Complete winters in it.
        found: usize,
        /// Of which station or place.
        station: String,
        /// So many there must be.
        least: usize,
    },
}

/// A crew that cannot be planned for.
#[derive(Debug, Error)]
pub enum CrewError {
    /// The settings name somebody who is not on the list.
    #[error("crew.technicians names {name}, who is not on the list of people")]
    NotListed {
        /// Who.
        name: String,
    },
    /// Somebody is to be left out who is not of the crew.
    #[error("no technician is called {name}; the crew is {crew}")]
    NotOfTheCrew {
        /// Who.
        name: String,
        /// Who the crew is, in words.
        crew: String,
    },
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
