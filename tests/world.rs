//! A whole winter in seconds: the daemon's own loops on a clock of ours, with a weather service and a mail relay that
//! fail as the seed says.
//!
//! `RIMEWARD_WORLD_SEED=17 cargo test --test all world::seeds::one -- --nocapture` replays one seed.

mod cases;
pub mod checks;
mod faults;
mod flat;
mod harness;
mod seeds;
mod unreached;
mod weather;
