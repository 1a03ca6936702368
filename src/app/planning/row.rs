//! One boat of the plan, and how the plan may differ for trial.

use crate::domain::boat::{Boat, BoatId};
use crate::domain::risk::plan::Job;
use crate::domain::risk::plan::boat::{BoatWork, Scope};

/// What-if: how the plan differs from what the configuration and the forecast say.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WhatIf {
    /// Crew hours of a working day in all.
    pub crew_hours: Option<f64>,
    /// Technicians who are away, by id or name.
    pub without: Vec<String>,
    /// Kelvins colder than forecast.
    pub colder_k: f64,
    /// Tolerance for severe damage instead of the configured one.
    pub tolerance: Option<f64>,
}

/// A boat, and a visit to it by the groups that are worked on.
pub type Visit = (BoatId, String);

/// A boat of the plan.
#[derive(Debug, Clone)]
pub struct Row {
    /// As listed.
    pub boat: Boat,
    /// Which visit to it: 0 for what can be worked on now, else for what thaws later.
    pub visit: usize,
    /// It is still in the water, or may be, and does not stand where it will.
    pub elsewhere: bool,
    /// Its haul was planned and is not on record: it counts as ashore, and nobody knows.
    pub assumed_ashore: bool,
    /// Its open work.
    pub work: BoatWork,
    /// Hands-on minutes of the complete lay-up.
    pub minutes: u32,
    /// The same with the way there.
    pub crew_minutes: u32,
    /// As the optimiser sees it, after what is drained tonight.
    pub job: Job,
    /// Day by which the complete work falls due, whatever is drained tonight.
    pub due: Option<usize>,
    /// What is drained in an emergency tonight, where it fits; else what should be.
    pub urgent: Option<Scope>,
    /// Where the complete work comes too late: the day on which its emergency drain must begin, and the drain.
    pub drain_by: Option<(usize, Scope)>,
    /// Minutes of that drain, with the way there where it is the first of its place on its day.
    pub drain_takes_min: u32,
    /// It stands in tonight's round.
    pub in_round: bool,
    /// Not before this day, and why.
    pub not_before: Option<(usize, &'static str)>,
    /// The first day from then on on which somebody works.
    pub begins_on: usize,
    /// The day of its planned haul, where it is still in the water; the number of days for one after them.
    pub haul_on: Option<usize>,
    /// Day on which it is begun by the plan.
    pub begun_on: Option<usize>,
    /// Day by which it ends by the plan.
    pub done_on: Option<usize>,
    /// Last day on which to begin when all that is due earlier goes first.
    pub latest_start: Option<usize>,
    /// What an hour on it saves within the next days.
    pub saves_per_hour: f64,
    /// Put off for want of this.
    pub put_off_for: Option<String>,
}
