//! Where a boat was before, and the heat around her: what stands in her now has been through the weather of those places.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::SiteId;

/// No part remembers a stay that ended longer ago.
pub(super) const REMEMBERED: TimeDelta = TimeDelta::days(70);

/// A time during which a boat was at another place, or at the same one otherwise than now.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Stay {
    /// When it ended; it began when the stay before it ended.
    pub until: DateTime<Utc>,
    /// Where.
    pub site: SiteId,
    /// In the water.
    pub afloat: bool,
    /// Under a cover.
    pub covered: bool,
}

/// The heat around a boat going on or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct HeatTurn {
    /// When.
    pub at: DateTime<Utc>,
    /// On from then on, or off.
    pub on: bool,
}
