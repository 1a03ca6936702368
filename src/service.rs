//! service.
