//! The one integration-test binary.

mod record;
// `cfg(test)` is always true here; it tells clippy that helpers, too, may unwrap.
#[cfg(test)]
mod delivery;
#[cfg(test)]
mod store;
#[cfg(test)]
mod support;
mod forecast;
// `cfg(test)` tells the linter that helpers here are test code too.
#[cfg(test)]
mod alert;
#[cfg(test)]
mod message;
#[cfg(test)]
mod blend;
#[cfg(test)]
mod peers;
#[cfg(test)]
mod physics_properties;
#[cfg(test)]
mod published;
