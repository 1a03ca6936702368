//! delivery.
