//! A part full of liquid that cools, freezes, thaws and warms again in changing air.
//!
//! [`thermal_classes`] says what parts there are and how fast they follow the air; [`PartModel`] is the arithmetic, [`Members`] the same for
//! many weathers at once.

mod class;
mod elementary;
mod members;
mod model;
mod pieces;

pub use class::{ThermalClass, thermal_class, thermal_classes};
pub use members::{LANES, MARKS, Members};
pub use model::{PartError, PartModel};
