//! The one integration-test binary.

// `cfg(test)` tells the linter that helpers here are test code too.
#[cfg(test)]
mod alert;
#[cfg(test)]
mod message;
