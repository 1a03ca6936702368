//! How far an issue reaches.

/// Hours ahead of the issue that a document reaches.
pub const AHEAD_H: i64 = 168;

/// Hours before the issue at which it begins, as the service's do.
pub const BEFORE_H: i64 = 2;
