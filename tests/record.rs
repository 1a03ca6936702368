//! The lay-up record: files in, what is in each circuit out.

mod build;
mod command;
mod demo;
mod examples;
mod expected;
mod intake;
mod properties;
mod rules;
mod sheets;
mod shown;
mod xlsx;
