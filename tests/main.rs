//! The one integration-test binary.

mod record;
