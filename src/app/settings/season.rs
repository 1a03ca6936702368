//! Past seasons: which file has the days of which place.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Deserialize;

/// What is known of past seasons, and what follows from it.
#[derive(Debug, Clone, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SeasonSettings {
    /// Accepted share of winters in which it freezes before the day that is named: 0.02 to 0.5.
    pub tolerance: f64,
    /// Write to owners who have not laid up yet?
    pub nudges: bool,
    /// Place to file: daily lows and highs, a GHCN-Daily `.dly` file or a table with `date,tmin_c,tmax_c`.
    pub archives: BTreeMap<String, PathBuf>,
}

impl Default for SeasonSettings {
    fn default() -> Self {
        Self { tolerance: 0.1, nudges: true, archives: BTreeMap::new() }
    }
}

impl SeasonSettings {
    /// The archive of a place.
    #[must_use]
    pub fn archive_of(&self, site: &str) -> Option<&Path> {
        self.archives.get(site).map(PathBuf::as_path)
    }
}
