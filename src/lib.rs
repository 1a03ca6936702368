//! rimeward: a weather-aware freeze-risk service for boats laid up for winter.
//!
//! The rooms of the house, in the order in which the data goes:
//!
//! - [`domain`]: the quiet wing. Pure functions: what a liquid does in the cold, what a lay-up log leaves in each
//!   circuit, what the coming cold means for it, what to say to whom. No clock, network, files, SQL or logging.
//! - [`settings`]: the configuration file, checked as a whole.
//! - [`intake`]: the door for tables that people keep: sites, people, boats, lay-up events.
//! - [`forecast`]: the door to the public weather services, one file each, behind one polite client.
//! - [`store`]: the door to SQL: the log, the forecasts as they stood, the alerts, the outbox.
//! - [`delivery`]: the door through which messages leave: SMTP and Maildir.
//! - [`service`]: wiring: the clock, the round (fetch, judge, decide, deliver), the demonstration.
//! - [`cli`]: wiring: one file per command.

pub mod cli;
pub mod delivery;
pub mod domain;
pub mod forecast;
pub mod intake;
pub mod service;
pub mod settings;
pub mod store;
