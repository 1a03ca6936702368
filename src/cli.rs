//! cli.

pub mod inspect;
