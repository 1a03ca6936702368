//! cli.

pub mod boat;
