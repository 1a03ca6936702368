//! A past winter once more: what people would have been told, and whether it was in time.

mod fleet;
pub mod play;
pub mod postbox;
mod reckoning;
pub mod score;
pub mod winter;
