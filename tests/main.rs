//! The one integration-test binary.

mod alert;
mod message;
