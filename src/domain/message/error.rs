//! What keeps a letter from being written.

use thiserror::Error;

/// What keeps a letter from being written.
#[derive(Debug, Error)]
pub enum MessageError {
    /// The phrase catalogue is not TOML of the right shape.
    #[error("reading the phrase catalogue: {source}; compare with config/catalogue/phrases.toml")]
    Catalogue {
        /// What the parser says, with line and column.
        #[source]
        source: Box<toml::de::Error>,
    },
    /// The table of what is asked about a part does not read.
    #[error(transparent)]
    Deeds(#[from] crate::domain::catalogue::CatalogueError),
    /// A template does not parse or names something that does not exist.
    #[error("phrase `{part}`, line {line}: {source:#}; correct the phrase in the catalogue")]
    Template {
        /// Name of the part or subject.
        part: String,
        /// Line inside the template.
        line: usize,
        /// What the template engine says.
        #[source]
        source: Box<minijinja::Error>,
    },
    /// The catalogue lacks something.
    #[error("phrase catalogue: {what} `{name}` is missing; add it")]
    Missing {
        /// Which kind of entry.
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// A part that must say something came out empty.
    #[error("phrase `{part}` came out empty; give it words or mark it optional")]
    Empty {
        /// Name of the part.
        part: String,
    },
    /// The advice is about a boat and none was handed in.
    #[error("composing {alert}: the boat and its record are needed; hand them in with the context")]
    NoBoat {
        /// The alert.
        alert: String,
    },
    /// Nobody words this kind yet.
    #[error("composing {alert}: there are no words for this kind yet")]
    NoWords {
        /// The alert.
        alert: String,
    },
}
