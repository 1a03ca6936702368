//! The promises of quiet, on the invented winter with nobody acting on anything.

pub mod play;
mod winter;
