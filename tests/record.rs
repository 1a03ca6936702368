//! The lay-up record: files in, what is in each circuit out.

mod demo;
mod expected;
mod intake;
