//! The one integration-test binary. `cfg(test)` is always true here; it tells the linter that helpers are test code too.

#[cfg(test)]
mod alert;
#[cfg(test)]
mod blend;
#[cfg(test)]
mod daemon;
#[cfg(test)]
mod delivery;
#[cfg(test)]
mod flow;
#[cfg(test)]
mod forecast;
#[cfg(test)]
mod judge;
#[cfg(test)]
mod kernel;
#[cfg(test)]
mod message;
#[cfg(test)]
mod outlook;
#[cfg(test)]
mod peers;
#[cfg(test)]
mod physics_properties;
#[cfg(test)]
mod place;
#[cfg(test)]
mod plan;
#[cfg(test)]
mod published;
#[cfg(test)]
mod quiet;
#[cfg(test)]
mod record;
#[cfg(test)]
mod store;
#[cfg(test)]
mod support;
#[cfg(test)]
mod tidy;
#[cfg(test)]
mod world;
