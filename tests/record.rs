//! The lay-up record: files in, what is in each circuit out.

mod aboard;
mod answers;
mod build;
mod command;
mod cooling;
pub mod demo;
mod doubts;
mod examples;
mod haul;
mod hostile;
mod expected;
mod intake;
mod laws;
mod paper;
mod properties;
mod reach;
mod remarks;
mod rules;
mod sheets;
mod shown;
mod whose;
mod worth;
mod xlsx;
