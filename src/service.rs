//! service.

pub mod demo;
