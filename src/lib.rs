//! rimeward: a weather-aware freeze-risk service for boats laid up for winter.
//!
//! The rooms of the house, in the order in which the data goes:
//!
//! - [`domain`]: the quiet wing (functional core). Pure functions: what a liquid does in the cold, what a lay-up log
//!   leaves in each circuit, what the coming cold means for it, what to say to whom. No clock, network, files, SQL or logging.
//! - [`views`]: read models that `--json`, letters and pages share.
//! - [`app`]: the application: the round (fetch, judge, decide, deliver) and its parts.
//! - [`adapters`]: the doors: the configuration file, tables that people keep, the public weather services, SQL, mail.
//! - [`daemon`]: loops, schedules, the one clock, the watchdog.
//! - [`sim`]: the demonstration and replays: the same round over a winter that is played.
//! - [`cli`]: one file per command.

pub mod adapters;
pub mod app;
pub mod cli;
pub mod daemon;
pub mod domain;
pub mod sim;
pub mod views;
