//! The weather door, from outside: own payloads, recorded payloads, servers that misbehave.

mod client;
mod hostile;
mod inspect;
mod issues;
mod own;
mod recorded;
mod server;
mod services;
mod several;
mod stand_in;
mod winter;
