//! Winters that are played: the demonstration and the replay of past seasons.

pub mod demo;
pub mod replay;
