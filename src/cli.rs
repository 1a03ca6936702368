//! cli.

pub mod blend;
pub mod boat;
pub mod verify;
