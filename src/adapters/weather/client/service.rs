//! How often the weather services may be asked, and what a client of one needs to know.

use std::time::Duration;

use crate::adapters::weather::Place;
use crate::app::ports::Service;

impl Service {
    /// Asked about one place no more often than this, in seconds, whatever its headers say.
    pub(super) const fn floor_s(self) -> i64 {
        match self {
            Self::NwsGridpoint => 0,
            // Its operator asks programs in public to keep to `Expires`, which lies half an hour ahead.
            Self::MetNorway => 600,
            // No caching headers were seen; models are made every one to six hours.
            Self::OpenMeteo | Self::OpenMeteoEnsemble | Self::Mosmix => 3_600,
        }
    }

    /// Most requests in one hour, all places together.
    pub(super) const fn hourly_max(self) -> u32 {
        match self {
            // Unpublished; one request a second is what a browser does.
            Self::NwsGridpoint => 3_600,
            // 20 a second for all installations of a program together.
            Self::MetNorway => 3_600,
            // A tenth of the free tier's 5,000 an hour, since calls are weighed by variables and days.
            Self::OpenMeteo | Self::OpenMeteoEnsemble => 500,
            Self::Mosmix => 1_000,
        }
    }
}

/// What a client needs to know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClientSettings {
    /// Base address without a path, `https` or, for a local stand-in, `http`.
    pub base: String,
    /// An address or page at which the people who run this program can be reached; the services require it.
    pub contact: String,
    /// Deadline of one call.
    pub deadline: Duration,
}

/// What only some services need.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Options {
    /// Key of a paid plan; never printed.
    pub api_key: Option<String>,
    /// Ensemble models, separated by commas.
    pub models: String,
    /// Named stations with their places.
    pub stations: Vec<(String, Place)>,
}
