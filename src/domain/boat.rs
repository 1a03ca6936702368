//! Boats: their circuits, the append-only lay-up log, and the fold from that log to what is in each circuit and why.

pub mod event;
pub mod state;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

pub use event::{EventId, LayupEvent, Precision};
pub use state::{BoatState, CircuitState, Evidence, Holds};

macro_rules! identifier {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(std::sync::Arc<str>);

        impl $name {
            /// The id as written in the tables.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl From<&str> for $name {
            fn from(text: &str) -> Self {
                Self(text.into())
            }
        }

        impl From<String> for $name {
            fn from(text: String) -> Self {
                Self(text.into())
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                out.write_str(&self.0)
            }
        }
    };
}
pub(crate) use identifier;

identifier!(
    /// A boat, as the yard numbers it, such as `B02`.
    BoatId
);
identifier!(
    /// A water-holding circuit of the catalogue, such as `block_raw`.
    CircuitId
);
identifier!(
    /// A storage place, such as `QUAY`.
    SiteId
);
identifier!(
    /// A person, such as `P51`. Events and alerts carry these, never names.
    PersonId
);

/// How the engine is cooled; two answers are not enough, since a half closed engine keeps raw water in its manifolds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CoolingKind {
    /// Sea or lake water runs through the block.
    Raw,
    /// An outboard cooled by raw water that drains when it hangs down.
    RawOutboard,
    /// A coolant loop in the block, raw water in the manifolds.
    ClosedHalf,
    /// A coolant loop in block and manifolds, raw water in the exchanger and after it.
    ClosedFull,
}

/// Who is told first about a boat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Care {
    /// The yard looks after it.
    #[default]
    Yard,
    /// The owner looks after it.
    Owner,
    /// Both do.
    Shared,
}

/// Whether the yard may drain the boat without asking.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DrainPermission {
    /// Standing permission.
    Yes,
    /// Refused: ask first.
    No,
    /// Nothing to ask (the owner works alone).
    NotApplicable,
    /// Not said.
    #[default]
    Unknown,
}

/// A boat as the yard's list describes it. People stand here only by id.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Boat {
    /// The yard's number.
    pub id: BoatId,
    /// Its name, as people call it.
    pub name: String,
    /// Kind of boat, a row of the fit-out catalogue, such as `petrol_sterndrive`.
    pub kind: String,
    /// How the engine is cooled.
    pub cooling: CoolingKind,
    /// Fuel in words: `petrol`, `diesel`.
    pub fuel: String,
    /// Number of engines.
    pub engines: u8,
    /// Where the list says it is stored; the log may have moved it since.
    pub site: SiteId,
    /// Row, bay or berth.
    pub location: String,
    /// The owner.
    pub owner: Option<PersonId>,
    /// Who is told first.
    pub care: Care,
    /// May the yard drain it?
    pub drain_permission: DrainPermission,
    /// Circuits that the boat really has.
    pub fitted: Vec<CircuitId>,
    /// Measured or stated volumes in litres, where known.
    pub volumes_l: Vec<(CircuitId, f64)>,
    /// When it is meant to come out of the water.
    pub haul_date: Option<NaiveDate>,
    /// When it is meant to go back in.
    pub planned_launch: Option<NaiveDate>,
    /// What the yard was asked to do, as written.
    pub work_ordered: String,
    /// The yard's remarks, as written.
    pub notes: String,
}
