//! Wiring: the one clock, and the round: fetch, judge, decide, deliver.

pub mod clients;
pub mod clock;
pub mod salt;
pub mod weather_memory;
pub mod house;
pub mod learning;
pub mod exposures;
pub mod fetch;
pub mod threads;
pub mod survey;
pub mod deciding;
pub mod letters;
pub mod aging;
pub mod nudges;
pub mod opening;
pub mod held;
pub mod outlook;
pub mod report;
pub mod round;
pub mod planning;
pub mod past_seasons;
pub mod post;
pub mod demo;
pub mod daemon;
pub mod run;
pub mod unreached;
