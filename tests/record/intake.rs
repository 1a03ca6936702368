//! Bad and odd input.
