//! The quiet wing (functional core): pure functions from data to data.
//!
//! Nothing here reads a clock, a file, the network or a random source that was not handed in; `now` is an argument.
//! The modules stand in the order of the data, and each uses only those above it.

pub mod units;
pub mod season;
pub mod local_time;
pub mod catalogue;
pub mod physics;
pub mod boat;
pub mod yard;
pub mod weather;
pub mod risk;
pub mod alert;
pub mod message;
