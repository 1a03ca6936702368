//! The weather door, from outside: own payloads, recorded payloads, servers that misbehave.

mod amounts;
mod client;
mod hostile;
mod inspect;
mod issues;
mod mutated;
mod notices;
mod observed;
mod own;
mod past_days;
mod recorded;

mod rows;
mod services;
mod several;
pub mod server;
mod stand_in;
mod winter;
