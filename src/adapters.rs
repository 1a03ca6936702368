//! The doors (adapters): each knows the quiet wing and one thing outside; none knows another.

pub mod settings;
pub mod intake;
pub mod weather;
pub mod sqlite;
pub mod delivery;
