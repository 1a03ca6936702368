//! The life of an alert.
