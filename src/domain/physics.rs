//! What a liquid does in the cold, and how a part full of it cools.
//!
//! - [`Liquid`], [`Solute`]: first ice, ice share, slush and burst; [`dilute`] and the measures of strength.
//! - [`part`]: thermal classes and the enthalpy form of a cooling part.
//! - [`surroundings`]: the air that a part sees: enclosure, night sky, wind, water.
//! - [`quantity`]: every published check value by name, for `verify`.
//!
//! Nothing here extrapolates in silence: past the end of the data there is no number. The fixed facts are tables in
//! `config/catalogue`, each row with its source.

pub mod battery;
pub mod constants;
mod curve;
mod liquid;
pub mod lumped;
pub mod part;
pub mod pipes;
pub mod product;
pub mod quantity;
pub mod reading;
pub mod sea;
mod solute;
pub mod stefan;
mod strength;
pub mod surroundings;
mod table;
mod liquid_error;

pub use liquid::{BURST_SHARE, DataEnd, Liquid, LiquidError, SLUSH_SHARE};
pub use solute::{STRONGEST, Solute, check_tables, melinder_first_ice_c};
pub use strength::{
    ConcentrateShare, Dilution, SolutionShare, StrengthRange, after_freeze_and_thaw, dilute,
    dilute_range, flush_repeatedly, mass_from_volume, recycled_tank, volume_from_mass,
    worst_pocket,
};
pub use table::TableError;
pub(crate) use table::rows as table_rows;
