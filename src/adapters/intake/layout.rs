//! How a yard's own tables differ from ours: other names of columns, columns of ticks, the order of day and month.

use std::collections::BTreeMap;

use chrono_tz::Tz;

use super::dates::DateOrder;
use crate::domain::boat::CircuitId;
use crate::domain::catalogue::Catalogue;

/// What a tick in one column of a wide sheet means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TickColumn {
    /// Heading of the column, as [`heading`] writes it.
    pub heading: String,
    /// Kind of event that a tick claims.
    pub kind: String,
    /// The circuits; empty for those that the kind reaches by itself.
    pub circuits: Vec<CircuitId>,
}

/// How to read the tables of one yard.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Layout {
    /// The yard's heading to ours, both as [`heading`] writes them.
    pub columns: BTreeMap<String, String>,
    /// Columns of ticks.
    pub ticks: Vec<TickColumn>,
    /// Order of day and month where a file does not show it; by the zone if not set.
    pub order: Option<DateOrder>,
    /// Zone of times that are written without an offset, where the place is not known.
    pub zone: Option<Tz>,
}

/// A heading without letter case, with `_` for spaces.
#[must_use]
pub fn heading(text: &str) -> String {
    text.trim().to_lowercase().split_whitespace().collect::<Vec<_>>().join("_")
}

impl TickColumn {
    /// Reads `kind circuits`, such as `blend_flush ENGINE_RAW` or `drained block_raw;manifold_raw`.
    ///
    /// # Errors
    /// In words, with the nearest right name.
    pub fn parse(name: &str, meaning: &str, catalogue: &Catalogue) -> Result<Self, String> {
        let (kind, circuits) = meaning.trim().split_once(' ').unwrap_or((meaning.trim(), ""));
        if catalogue.event(kind).is_none() {
            let names = catalogue.events().iter().map(|kind| kind.id.as_str());
            let hint = crate::domain::catalogue::nearest(kind, names);
            let hint = hint.map(|like| format!("; did you mean {like}?")).unwrap_or_default();
            return Err(format!("import.ticks.{name}: no event is called {kind:?}{hint}"));
        }
        let circuits: Vec<CircuitId> = circuits
            .split([';', ',', ' '])
            .filter(|part| !part.is_empty())
            .map(CircuitId::from)
            .collect();
        match circuits.iter().find(|id| catalogue.named(id).is_none()) {
            Some(id) => Err(format!("import.ticks.{name}: no circuit is called {id}")),
            None => Ok(Self { heading: heading(name), kind: kind.to_owned(), circuits }),
        }
    }
}

impl Layout {
    /// The order where a file does not show it: as set, else month first in zones of America, else day first.
    #[must_use]
    pub fn usual_order(&self) -> DateOrder {
        let american = self.zone.is_none_or(|zone| {
            zone.name().starts_with("America/") || zone.name().starts_with("US/")
        });
        self.order.unwrap_or(if american { DateOrder::MonthFirst } else { DateOrder::DayFirst })
    }
}
