//! Worse than last told: the only reason to write again about an open alert.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::{AlertSettings, ChanceClass, Facts, Heard, Ledger, System};
use crate::domain::boat::Holds;
use crate::domain::risk::{CircuitRisk, Consequence, Priority};

/// One way in which it has become worse than the reader was last told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "worse", rename_all = "snake_case")]
pub enum Worse {
    /// More pressing.
    Priority {
        /// As told.
        from: Priority,
        /// Now.
        to: Priority,
    },
    /// Less time.
    LatestStart {
        /// As told.
        from: Option<DateTime<Utc>>,
        /// Now.
        to: DateTime<Utc>,
    },
    /// Colder.
    Low {
        /// As told, in C.
        from_c: f64,
        /// Now, in C.
        to_c: f64,
    },
    /// Likelier, by a class of words.
    Chance {
        /// As told, 0 to 1.
        from: f64,
        /// Now.
        to: f64,
    },
    /// Not recorded as done by the time that somebody planned.
    StillOpen {
        /// The plan, if they gave one.
        planned: Option<DateTime<Utc>>,
    },
    /// Told as frozen, and by what is known now it is not: its work can be done.
    Possible {
        /// What.
        parts: Vec<System>,
    },
    /// What has frozen is about to thaw, and can let water in then.
    Thaws {
        /// When, as most of the forecasts have it.
        at: DateTime<Utc>,
    },
    /// More of the boat.
    Systems {
        /// What was not named before.
        new: Vec<System>,
    },
}

/// Every way in which `facts` is worse than anything the reader has heard, in the order in which a reader needs them.
///
/// Only what changes what somebody does: too late to begin, or frozen, is no more than the hour that was told having
/// come. A new system counts where its harm is major or severe, or graver than any that was named; the rest stands in the next
/// letter and on the worklist.
#[must_use]
pub fn worse_than_told(
    facts: &Facts,
    ledger: &Ledger,
    settings: &AlertSettings,
    zone: Tz,
) -> Vec<Worse> {
    let (told, heard) = (&ledger.last, &ledger.worst);
    let mut worse = Vec::new();
    let active = facts.active();
    if active.iter().any(|row| !row.frozen_now) {
        let in_time = facts.latest_start.is_some_and(|start| start > facts.at);
        let last_word_h = hours(facts.at - told.at);
        // High is only ever a severe part: the last call for what is dear.
        if in_time
            && facts.priority == Priority::High
            && heard.priority < Priority::High
            && last_word_h >= settings.last_call_h
        {
            worse.push(Worse::Priority { from: heard.priority, to: facts.priority });
        }
        if let Some(to) = facts.latest_start
            && starts_sooner(to, told.latest_start, facts.at, settings, zone)
        {
            worse.push(Worse::LatestStart { from: told.latest_start, to });
        }
        if let (Some(low), Some(from_c)) = (facts.low, heard.low_c)
            && low.median_c <= from_c - settings.colder_k
            && depth_matters(facts, heard)
        {
            worse.push(Worse::Low { from_c, to_c: low.median_c });
        }
        let chance = facts.lead().map_or(0.0, |row| row.chance_limit);
        if in_time && is_likelier(chance, heard, settings) {
            worse.push(Worse::Chance { from: heard.chance, to: chance });
        }
    }
    // Of what has frozen meanwhile the closing message speaks.
    let helps = |row: &CircuitRisk| row.latest_start.is_some_and(|start| start > facts.at);
    let grave = |row: &&CircuitRisk| {
        row.consequence > heard.consequence || row.consequence >= Consequence::Major && helps(row)
    };
    let new = active.iter().filter(|row| !heard.names(row)).filter(grave);
    let new: Vec<System> = new.map(System::of).collect();
    let refilled = |row: &&CircuitRisk| {
        row.since.is_some_and(|since| since > told.at) && row.consequence > Consequence::Minor
    };
    let again = active.iter().filter(|row| !heard.names(row)).filter(refilled).map(System::of);
    let new: Vec<System> = if new.is_empty() { again.collect() } else { new };
    if !new.is_empty() {
        worse.push(Worse::Systems { new });
    }
    worse
}

/// Likelier by a class of words, and likely now. From "very likely" there is nothing more to say that would change what
/// anybody does.
fn is_likelier(chance: f64, heard: &Heard, settings: &AlertSettings) -> bool {
    let class = ChanceClass::of(heard.chance);
    ChanceClass::of(chance) > class
        && class < ChanceClass::Likely
        && chance >= settings.likelier_from
        && chance >= heard.chance + settings.likelier_by
}

/// Does it matter how cold it gets? For a blend, while it is not yet likely to freeze: it must hold to the low told.
fn depth_matters(facts: &Facts, heard: &Heard) -> bool {
    ChanceClass::of(heard.chance) < ChanceClass::Likely
        && facts.active().iter().any(|row| {
            !row.frozen_now && matches!(row.holds, Holds::Blend | Holds::Coolant | Holds::Charged)
        })
}

/// Earlier by a share of the slack that was left, or into today.
fn starts_sooner(
    to: DateTime<Utc>,
    told: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
    settings: &AlertSettings,
    zone: Tz,
) -> bool {
    let Some(from) = told else { return true };
    let left = hours(from - now);
    let earlier = hours(from - to);
    if left <= 0.0 || earlier <= 0.0 {
        return false;
    }
    let day = |instant: DateTime<Utc>| instant.with_timezone(&zone).date_naive();
    let into_today = day(from) > day(now) && day(to) <= day(now);
    into_today || earlier >= (settings.earlier_share * left).max(settings.earlier_floor_h)
}

/// A span in hours.
pub(super) fn hours(span: TimeDelta) -> f64 {
    span.as_seconds_f64() / 3600.0
}
