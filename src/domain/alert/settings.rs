//! Limits of alerting, all settings. The defaults are starting values: thresholds measured on an archive of forecasts
//! with what then happened, delays and deadband our own, after the methods of ISA-18.2.

use chrono::NaiveTime;
use serde::{Deserialize, Serialize};

use crate::domain::risk::{Consequence, Priority};

/// A pair of chances, 0 to 1: raised at or over `on`, let go below `off`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Threshold {
    /// Raise at or over this.
    pub on: f64,
    /// Below this it counts as gone.
    pub off: f64,
}

/// Every limit of alerting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct AlertSettings {
    /// For engine, drive, or a boat that may sink.
    pub severe: Threshold,
    /// For pump, heater, manifold.
    pub major: Threshold,
    /// For fittings and domestic water.
    pub minor: Threshold,
    /// On-threshold of a severe row when its slack is under [`AlertSettings::waive_slack_h`]: the last chance to act.
    pub severe_last_chance: f64,
    /// Hours between the two issues of the on-delay.
    pub on_delay_issue_gap_h: f64,
    /// Slack in hours under which the on-delay is waived.
    pub waive_slack_h: f64,
    /// Hours that the off-delay lasts, besides a second issue.
    pub off_delay_h: f64,
    /// Kelvin by which the coming low must be milder than the limit before anything is let go.
    pub deadband_k: f64,
    /// The same, where the limit is known only as the mildest low at which the episode was over its threshold: that low
    /// may itself lie below the limit by what a forecast jitters from issue to issue, so twice the deadband.
    pub deadband_seen_k: f64,
    /// Worse: latest start earlier by this share of the remaining slack.
    pub earlier_share: f64,
    /// Worse: but never for less than this many hours.
    pub earlier_floor_h: f64,
    /// Worse: low colder by this many kelvin than last told.
    pub colder_k: f64,
    /// Worse: likelier by a class of words, and by at least this much, so that a step across the edge of a class is none.
    pub likelier_by: f64,
    /// Hours between two messages about one alert to one person, unless it has become high priority.
    pub update_gap_h: f64,
    /// Hours for which everything in danger must have been past its limit before the episode ends as passed.
    pub passed_after_h: f64,
    /// A part of major harm that was told and has not frozen is news again after so many days.
    pub major_again_days: f64,
    /// The same for a part of minor harm.
    pub minor_again_days: f64,
    /// Worse: likelier counts from this chance on, 0 to 1: below it nothing has changed in what to do.
    pub likelier_from: f64,
    /// Updates in one episode, besides dearer or refilled parts and what must be begun within a day after all.
    pub updates_most: u8,
    /// Worse: into high priority counts where the last word is older than this, in hours: the last call.
    pub last_call_h: f64,
    /// A manager is interrupted for what must be begun before the next worklist, and so many hours after it.
    pub worklist_margin_h: f64,
    /// A mere "seen" counts for half of the slack that was left, and for so many hours at most.
    pub seen_counts_h: f64,
    /// Hours between two words that it is still open.
    pub still_open_gap_h: f64,
    /// High and unanswered: the next contact is told after so many hours ...
    pub escalate_h: f64,
    /// ... or after this share of the slack that was left, whichever is sooner.
    pub escalate_share: f64,
    /// Next contacts told in one episode.
    pub escalate_most: u8,
    /// Updates per alert that are no worsening.
    pub eased_updates: u8,
    /// Hours after the last message before such an update.
    pub eased_gap_h: f64,
    /// Care of the yard or shared: the owner's first letter waits so many working hours after the yard has heard ...
    pub yard_first_h: f64,
    /// ... but never into the last so many hours before the latest start ...
    pub yard_first_slack_h: f64,
    /// ... nor longer than so many hours in all.
    pub yard_first_most_h: f64,
    /// Messages to one person in 24 hours; high priority, closing, and the first word about a boat whose slack is under
    /// [`AlertSettings::waive_slack_h`] apart.
    pub per_person_24h: usize,
    /// The same for managers, whose messages roll up many boats.
    pub per_manager_24h: usize,
    /// A manager is told of a raise from this priority on; below it the boat stands on the worklist only.
    pub manager_from: Priority,
    /// Hours for which a returned alert can be raised again under its own id.
    pub returned_h: f64,
    /// Start of the quiet hours for whoever states none.
    pub quiet_from: NaiveTime,
    /// End of them.
    pub quiet_to: NaiveTime,
    /// A latest start before this hour of the morning is told in the quiet hours.
    pub quiet_morning: NaiveTime,
}

const fn clock(hour: u32) -> NaiveTime {
    match NaiveTime::from_hms_opt(hour, 0, 0) {
        Some(time) => time,
        None => NaiveTime::MIN,
    }
}

impl Default for AlertSettings {
    fn default() -> Self {
        Self {
            severe: Threshold { on: 0.10, off: 0.05 },
            major: Threshold { on: 0.20, off: 0.10 },
            minor: Threshold { on: 0.30, off: 0.15 },
            severe_last_chance: 0.05,
            on_delay_issue_gap_h: 3.0,
            waive_slack_h: 24.0,
            off_delay_h: 72.0,
            deadband_k: 1.0,
            deadband_seen_k: 2.0,
            earlier_share: 0.25,
            earlier_floor_h: 6.0,
            colder_k: 4.0,
            likelier_by: 0.15,
            update_gap_h: 24.0,
            passed_after_h: 24.0,
            major_again_days: 21.0,
            minor_again_days: 90.0,
            likelier_from: 0.75,
            updates_most: 1,
            last_call_h: 48.0,
            worklist_margin_h: 2.0,
            seen_counts_h: 24.0,
            still_open_gap_h: 12.0,
            escalate_h: 1.0,
            escalate_share: 0.15,
            escalate_most: 1,
            eased_updates: 0,
            eased_gap_h: 6.0,
            yard_first_h: 2.0,
            yard_first_slack_h: 12.0,
            yard_first_most_h: 24.0,
            per_person_24h: 2,
            per_manager_24h: 3,
            manager_from: Priority::Medium,
            returned_h: 24.0,
            quiet_from: clock(21),
            quiet_to: clock(7),
            quiet_morning: clock(9),
        }
    }
}

impl AlertSettings {
    /// Everything that is no sense, one line each, beginning with the key.
    #[must_use]
    pub fn problems(&self) -> Vec<String> {
        let mut found = Vec::new();
        let pairs = [("severe", self.severe), ("major", self.major), ("minor", self.minor)];
        for (name, pair) in pairs {
            let ordered = 0.0 < pair.off && pair.off < pair.on && pair.on <= 0.5;
            if !ordered {
                found.push(format!(
                    "alert.{name} = {{ on = {}, off = {} }}: off must be over 0 and below on, on 0.5 at most",
                    pair.on, pair.off
                ));
            }
        }
        let last = self.severe_last_chance;
        if !(last > 0.0 && last <= self.severe.on) {
            found.push(format!(
                "alert.severe_last_chance = {last}: must be over 0, and alert.severe.on at most"
            ));
        }
        for (name, share) in [
            ("earlier_share", self.earlier_share),
            ("likelier_by", self.likelier_by),
            ("likelier_from", self.likelier_from),
            ("escalate_share", self.escalate_share),
        ] {
            if !(0.0..=1.0).contains(&share) {
                found.push(format!("alert.{name} = {share}: must be 0 to 1"));
            }
        }
        for (name, kelvin) in [
            ("deadband_k", self.deadband_k),
            ("deadband_seen_k", self.deadband_seen_k),
            ("colder_k", self.colder_k),
        ] {
            if !(0.0..=10.0).contains(&kelvin) {
                found.push(format!("alert.{name} = {kelvin}: must be 0 to 10 kelvin"));
            }
        }
        for (name, hours, most) in [
            ("on_delay_issue_gap_h", self.on_delay_issue_gap_h, 12.0),
            ("waive_slack_h", self.waive_slack_h, 72.0),
            ("off_delay_h", self.off_delay_h, 168.0),
            ("earlier_floor_h", self.earlier_floor_h, 72.0),
            ("update_gap_h", self.update_gap_h, 72.0),
            ("passed_after_h", self.passed_after_h, 168.0),
            ("last_call_h", self.last_call_h, 168.0),
            ("worklist_margin_h", self.worklist_margin_h, 24.0),
            ("seen_counts_h", self.seen_counts_h, 72.0),
            ("still_open_gap_h", self.still_open_gap_h, 72.0),
            ("escalate_h", self.escalate_h, 24.0),
            ("yard_first_h", self.yard_first_h, 10.0),
            ("yard_first_slack_h", self.yard_first_slack_h, 72.0),
            ("yard_first_most_h", self.yard_first_most_h, 48.0),
            ("eased_gap_h", self.eased_gap_h, 72.0),
            ("returned_h", self.returned_h, 168.0),
        ] {
            if !(0.0..=most).contains(&hours) {
                found.push(format!("alert.{name} = {hours}: must be 0 to {most} hours"));
            }
        }
        for (name, days) in [
            ("major_again_days", self.major_again_days),
            ("minor_again_days", self.minor_again_days),
        ] {
            if !(1.0..=365.0).contains(&days) {
                found.push(format!("alert.{name} = {days}: must be 1 to 365 days"));
            }
        }
        for (name, count) in
            [("per_person_24h", self.per_person_24h), ("per_manager_24h", self.per_manager_24h)]
        {
            if !(1..=24).contains(&count) {
                found.push(format!("alert.{name} = {count}: must be 1 to 24 messages"));
            }
        }
        found
    }

    /// The thresholds of a consequence.
    #[must_use]
    pub const fn threshold(&self, consequence: Consequence) -> Threshold {
        match consequence {
            Consequence::Severe => self.severe,
            Consequence::Major => self.major,
            Consequence::Minor => self.minor,
        }
    }
}
