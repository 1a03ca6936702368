//! The one integration-test binary.

#[cfg(test)]
mod record;
