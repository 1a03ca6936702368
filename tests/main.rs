//! The one integration-test binary.

#[cfg(test)]
mod blend;
#[cfg(test)]
mod peers;
#[cfg(test)]
mod physics_properties;
#[cfg(test)]
mod published;
#[cfg(test)]
mod record;
