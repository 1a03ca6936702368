//! What an alert is about, its kind and its id.

use serde::{Deserialize, Serialize};

use crate::domain::boat::{BoatId, PersonId, SiteId};
use crate::domain::catalogue::identifier;

identifier!(
    /// An alert: kind, subject and number of the episode, such as `freeze-B02-1`. The same inputs give the same id.
    AlertId
);

impl AlertId {
    /// The id of episode `episode` (1 for the first) of a kind about a boat or a place.
    #[must_use]
    pub fn of(kind: Kind, subject: &Subject, episode: u32) -> Self {
        Self::from(format!("{}-{}-{episode}", kind.as_str(), subject.as_str()))
    }
}

/// The rationalised kinds of alert; the code raises no other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// The first damaging freeze of the season is near and lay-up is not recorded done.
    Deadline,
    /// Cold is forecast against what is wet aboard.
    Freeze,
    /// A blend is too thin for the winters of the place; no cold in sight yet.
    Blend,
    /// A heated place is off, reads low, or is read no more.
    Heat,
    /// No usable forecast.
    Blind,
    /// Nobody responsible can be reached.
    Unreachable,
}

impl Kind {
    /// The name in ids and documents.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Deadline => "deadline",
            Self::Freeze => "freeze",
            Self::Blend => "blend",
            Self::Heat => "heat",
            Self::Blind => "blind",
            Self::Unreachable => "unreachable",
        }
    }
}

impl Subject {
    /// The id of the boat, place or person.
    #[must_use]
    pub fn as_str(&self) -> &str {
        match self {
            Self::Boat(boat) => boat.as_str(),
            Self::Site(site) => site.as_str(),
            Self::Person(person) => person.as_str(),
        }
    }

    /// The boat, if it is one.
    #[must_use]
    pub const fn boat(&self) -> Option<&BoatId> {
        match self {
            Self::Boat(boat) => Some(boat),
            Self::Site(_) | Self::Person(_) => None,
        }
    }
}

/// What an alert is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// A boat.
    Boat(BoatId),
    /// A place.
    Site(SiteId),
    /// A person.
    Person(PersonId),
}
