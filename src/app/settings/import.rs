//! How a yard's own spreadsheets are read.

use std::collections::BTreeMap;

use serde::Deserialize;

/// `[import]`: other headings, columns of ticks, the order of day and month.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ImportSettings {
    /// The yard's heading to ours, such as `"Boat #" = "boat_id"`.
    pub columns: BTreeMap<String, String>,
    /// Heading of a column of ticks to what a tick claims, such as `"Engine AF" = "blend_flush ENGINE_RAW"`.
    pub ticks: BTreeMap<String, String>,
    /// Is 10/3 the tenth of March? Asked only where a file does not show it; by the zone if not set.
    pub day_first: Option<bool>,
}
