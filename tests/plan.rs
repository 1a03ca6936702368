//! The crew plan: worked examples, brute force, a reference solver, the yard of the demonstration, bad input.

mod examples;
mod optimal;
mod peer;
pub mod yards;
