//! The weather door, from outside: own payloads, recorded payloads, servers that misbehave.

#![expect(clippy::unwrap_used, reason = "a helper that fails fails its test")]

mod client;
mod hostile;
mod inspect;
mod issues;
mod own;
mod recorded;
mod server;
mod stand_in;
mod winter;
