//! The crew plan: worked examples, brute force, a reference solver, the yard of the demonstration, bad input.

mod careful;
pub mod command;
mod examples;
mod optimal;
mod peer;
mod seasons;
pub mod yards;
