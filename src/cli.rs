//! cli.

pub mod blend;
pub mod verify;
