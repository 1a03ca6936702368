//! The fixed words of the trade that the tables use: ids, what a circuit holds, grades of evidence, harm.

use serde::{Deserialize, Serialize};

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
    /// A water-holding circuit of the catalogue, such as `block_raw`.
    CircuitId
);

/// What is in a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Holds {
    /// Lake, tap, rain or hose water.
    Fresh,
    /// Salt water.
    Sea,
    /// Drained by gravity; pockets of water may be left.
    Drained,
    /// Blown or vacuumed dry, drains left open.
    Dry,
    /// Water with antifreeze.
    Blend,
    /// Coolant of a closed loop.
    Coolant,
    /// Gear oil without water.
    LubeClean,
    /// Gear oil with water in it.
    LubeWet,
    /// A battery of known charge.
    Charged,
    /// No evidence, or evidence undone: judged as fresh water.
    Unknown,
    /// The boat does not have it.
    Absent,
}

impl Holds {
    /// The word of the contract, such as `lube_clean`.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Fresh => "fresh",
            Self::Sea => "sea",
            Self::Drained => "drained",
            Self::Dry => "dry",
            Self::Blend => "blend",
            Self::Coolant => "coolant",
            Self::LubeClean => "lube_clean",
            Self::LubeWet => "lube_wet",
            Self::Charged => "charged",
            Self::Unknown => "unknown",
            Self::Absent => "absent",
        }
    }

    /// Whether somebody has done something against frost here, on whatever evidence.
    #[must_use]
    pub const fn is_protected(self) -> bool {
        matches!(
            self,
            Self::Drained
                | Self::Dry
                | Self::Blend
                | Self::Coolant
                | Self::LubeClean
                | Self::Charged
        )
    }
}

/// How well a state is known, from least to best.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    /// Nothing supports it.
    #[default]
    None,
    /// Somebody says so.
    Claimed,
    /// Written down by whoever did it.
    Recorded,
    /// Checked by hand: each drain probed, ice or damage seen.
    Probed,
    /// Read off an instrument, with scale and sample point.
    Measured,
}

impl Evidence {
    /// The word of the contract, such as `probed`.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Claimed => "claimed",
            Self::Recorded => "recorded",
            Self::Probed => "probed",
            Self::Measured => "measured",
        }
    }
}

/// Harm if a circuit freezes and nothing was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Consequence {
    /// Fittings, domestic water.
    Minor,
    /// Pump, heater, manifold.
    Major,
    /// Engine, drive, or a boat that may sink.
    Severe,
}

/// What ice may do in a circuit, by how it is enclosed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Confinement {
    /// Metal or china shell without a free surface.
    Hard,
    /// Plastic bowl, pump head, valve.
    Brittle,
    /// Rubber hose or bag.
    Soft,
    /// A free surface with room above.
    Open,
    /// Voids and drains of the hull.
    Structure,
    /// Batteries.
    Chemical,
}

/// How the engine is cooled; two answers are not enough, since a half closed engine keeps raw water in its manifolds.
/// What each says of the circuits stands in `cooling.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CoolingKind {
    /// Sea or lake water runs through the block.
    Raw,
    /// An outboard cooled by raw water that drains when it hangs down.
    RawOutboard,
    /// A coolant loop in the block, raw water in the manifolds.
    #[serde(alias = "half")]
    ClosedHalf,
    /// A coolant loop in block and manifolds, raw water in the exchanger and after it.
    ClosedFull,
    /// An electric motor: no engine that water runs through.
    Electric,
    /// Nobody has said: unknown is wet, so it may be any.
    #[default]
    Unknown,
}

impl CoolingKind {
    /// Whether raw water runs through the block itself, as far as anybody knows.
    #[must_use]
    pub const fn block_is_raw(self) -> bool {
        matches!(self, Self::Raw | Self::RawOutboard | Self::Unknown)
    }

    /// Whether there may be a loop of coolant.
    #[must_use]
    pub const fn may_have_a_loop(self) -> bool {
        matches!(self, Self::ClosedHalf | Self::ClosedFull | Self::Unknown)
    }

    /// The word of the tables, such as `closed_half`.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Raw => "raw",
            Self::RawOutboard => "raw_outboard",
            Self::ClosedHalf => "closed_half",
            Self::ClosedFull => "closed_full",
            Self::Electric => "electric",
            Self::Unknown => "unknown",
        }
    }
}

/// Where a part sits, which decides what air or water is round it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PartExposure {
    /// In the cabin or lockers.
    InsideHull,
    /// In the closed engine space.
    EngineBay,
    /// Under a cowl, a deck or a lid: outside air, but neither sky nor wind.
    Deck,
    /// Outside the hull, under the open sky.
    Open,
    /// Below the waterline: in the water's temperature while afloat.
    BelowWaterline,
}

/// How soon it freezes through, against the iron block of the same boat in the same air. Judgement, from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum SpeedClass {
    /// Well under a quarter of the block's time.
    A,
    /// A quarter to three quarters.
    B,
    /// As the block.
    C,
    /// Slower than the block.
    D,
}

/// A set of circuits of one catalogue, by their place in its table (128 at most).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CircuitSet(u128);

impl CircuitSet {
    /// No circuit.
    pub const EMPTY: Self = Self(0);
    /// Every place of the table.
    pub const ALL: Self = Self(u128::MAX);

    /// Adds the circuit at this place of the table; places past 127 are ignored, the catalogue refuses longer tables.
    pub fn insert(&mut self, place: u8) {
        self.0 |= 1_u128.checked_shl(u32::from(place)).unwrap_or(0);
    }

    /// Whether the circuit at this place is in the set.
    #[must_use]
    pub const fn contains(self, place: u8) -> bool {
        place < 128 && self.0 & (1_u128 << place) != 0
    }

    /// Both together.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// What both have.
    #[must_use]
    pub const fn intersection(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// What it has and the other has not.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
}
