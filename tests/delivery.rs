//! Letters on their way out.
