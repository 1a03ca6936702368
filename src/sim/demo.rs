//! The invented winter of the demonstration: what the weather was, what was forecast, and a stand-in that serves it.
//!
//! Everything is made from tables in `config/demo` and a seed; the same seed gives the same bytes. The stand-in is an
//! ordinary HTTP server inside the process, so that the demonstration uses the same door as a real winter.

pub mod document;
pub mod issues;
pub mod noise;
pub mod stand_in;
pub mod season;
pub mod winter;
