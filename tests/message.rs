//! What people read: one sample of every kind, linted; hostile names; many boats at once.

mod chart;
pub mod deeds;
pub mod hostile;
pub mod lint;
pub mod many;
mod opening;
pub mod samples;
