//! The crew: who works when, what the lift can move, what is tolerated.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Deserialize;

/// The groups of work, as `config/catalogue/work_groups.csv` has them; a test holds the two together.
pub const GROUPS: [&str; 5] = ["engine", "generator", "house", "aircon", "hull"];

/// The crew calendar and how the plan weighs.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CrewSettings {
    /// Hours of one technician on Monday to Sunday.
    pub hours: [f64; 7],
    /// Days without work.
    pub days_off: Vec<NaiveDate>,
    /// Who; where none are named, the technicians of the yard's list of people.
    pub technicians: Vec<TechnicianSettings>,
    /// Groups of work that ask for a skill (a licence, say): group to skill.
    pub skills_needed: BTreeMap<String, String>,
    /// Boats that the lift moves a day; 0 where it does not matter.
    pub lift_slots: u32,
    /// Tolerated chance of severe damage, 0 to 0.25; major is tolerated at twice, minor at three times that.
    pub tolerance: f64,
    /// `least_loss`, or `fewest_boats` where every boat counts alike.
    pub objective: Objective,
    /// Days that are planned ahead.
    pub days: usize,
}

/// What a plan is to keep small.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Objective {
    /// The expected loss in money.
    #[default]
    LeastLoss,
    /// The expected number of damaged boats.
    FewestBoats,
}

/// Somebody of the crew.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TechnicianSettings {
    /// An id of the yard's list of people.
    pub person: String,
    /// What they may do, as in the tables of work.
    #[serde(default)]
    pub skills: Vec<String>,
}

impl Default for CrewSettings {
    fn default() -> Self {
        Self {
            hours: [8.0, 8.0, 8.0, 8.0, 8.0, 0.0, 0.0],
            days_off: Vec::new(),
            technicians: Vec::new(),
            skills_needed: BTreeMap::new(),
            lift_slots: 0,
            tolerance: 0.05,
            objective: Objective::LeastLoss,
            days: 21,
        }
    }
}

impl CrewSettings {
    /// Everything that is wrong with them, one line each.
    #[must_use]
    pub fn problems(&self) -> Vec<String> {
        let mut found = Vec::new();
        if let Some(hours) = self.hours.iter().find(|hours| !(0.0..=24.0).contains(*hours)) {
            found.push(format!("crew.hours holds {hours}: must be 0 to 24, Monday to Sunday"));
        }
        if !(0.0..=0.25).contains(&self.tolerance) {
            found.push(format!("crew.tolerance = {}: must be 0 to 0.25", self.tolerance));
        }
        for group in self.skills_needed.keys().filter(|group| !GROUPS.contains(&group.as_str())) {
            found.push(format!(
                "crew.skills_needed names {group}: groups of work are {}",
                GROUPS.join(", ")
            ));
        }
        if !(2..=42).contains(&self.days) {
            found.push(format!("crew.days = {}: must be 2 to 42", self.days));
        }
        found
    }
}
