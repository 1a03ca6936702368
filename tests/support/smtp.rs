//! smtp
