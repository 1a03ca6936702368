//! The one integration-test binary.

mod forecast;
