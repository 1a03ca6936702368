//! The life of an alert, driven as a service would drive it.

pub mod life;
pub mod world;
