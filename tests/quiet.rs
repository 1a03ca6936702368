//! The promises of quiet, on the invented winter with nobody acting on anything.

mod winter;
