//! intake.
