//! The application: a round (fetch, judge, decide, deliver) and what it is made of. Knows the quiet wing and its ports;
//! loops, schedules and processes are the daemon's.

pub mod alerts;
pub mod answers;
pub mod assess;
pub mod clock_watch;
pub mod context;
pub mod error;
pub mod fetch;
pub mod health;
pub mod notify;
pub mod parallel;
pub mod planning;
pub mod ports;
pub mod round;
pub mod salt;
mod yard_book;
pub mod settings;
