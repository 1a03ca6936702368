//! The life of an alert, driven as a service would drive it.

mod answers;
pub mod blindness;
mod blend;
mod deadline;
mod frozen;
mod fuzz;
mod heat;
pub mod life;
mod people;
mod taken_out;
pub mod quiet;
pub mod world;
mod yard_first;
