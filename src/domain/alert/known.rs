//! What a person has been told in this and in earlier episodes: a part that was named, as its record stands, is news
//! again only under the rules here.
//!
//! Silence is earned in three ways and no other: the part was told and has since been past its limit (nothing is left
//! to prevent; it stands on the worklist and the test-first list until the record changes); a part of minor or major
//! harm was told not long ago and nothing about it has changed. A part of severe harm that has not frozen is news in every spell.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::worse::hours;
use super::{AlertSettings, System};
use crate::domain::boat::{Holds, PersonId};
use crate::domain::risk::{CircuitRisk, Consequence};

/// One part that one person was told of, with the record as it stood then.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Who.
    pub person: PersonId,
    /// Which part.
    pub system: System,
    /// Since when it had held what it held: refilled or run since, it is another matter.
    pub since: Option<DateTime<Utc>>,
    /// The harm as told.
    pub consequence: Consequence,
    /// When it was last told.
    pub told_at: DateTime<Utc>,
    /// The coldest low (median, C) that it was told with.
    pub low_c: Option<f64>,
    /// It has been past its limit since.
    pub frozen: bool,
}

/// Cold and time of the look, for [`is_news`].
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    pub now: DateTime<Utc>,
    /// The low to come, median, C.
    pub low_c: Option<f64>,
}

impl Known {
    fn is_about(&self, row: &CircuitRisk) -> bool {
        self.system == System::of(row) && self.since == row.since
    }
}

/// Is this part news to this person, by what they were told in all episodes so far?
pub(super) fn is_news(
    known: &[Known],
    person: &PersonId,
    row: &CircuitRisk,
    settings: &AlertSettings,
    look: Look,
) -> bool {
    let told = known.iter().find(|known| known.person == *person && known.is_about(row));
    let Some(told) = told else {
        // Past its limit before anybody could say so: nobody must start it. A small part waits on the worklist for
        // whoever looks.
        return !row.frozen_now || row.consequence > Consequence::Minor;
    };
    if row.consequence > told.consequence {
        return true;
    }
    if told.frozen || row.frozen_now {
        return false;
    }
    if row.consequence == Consequence::Severe {
        return true;
    }
    // They were told what to do about it; too late to do it is nothing that they can act on.
    if row.latest_start.is_some_and(|start| start <= look.now) {
        return false;
    }
    let again_days = match row.consequence {
        Consequence::Minor => settings.minor_again_days,
        _ => settings.major_again_days,
    };
    let colder = match (look.low_c, told.low_c) {
        (Some(low), Some(told)) => low <= told - settings.colder_k,
        _ => true,
    };
    let depth_decides = matches!(row.holds, Holds::Blend | Holds::Coolant | Holds::Charged);
    colder && depth_decides || hours(look.now - told.told_at) / 24.0 >= again_days
}

/// Notes that a person has been told of these rows.
pub(super) fn note_told(
    known: &mut Vec<Known>,
    person: &PersonId,
    rows: &[CircuitRisk],
    look: Look,
) {
    for row in rows {
        match known.iter_mut().find(|known| known.person == *person && known.is_about(row)) {
            Some(old) => {
                old.told_at = look.now;
                old.low_c = coldest(old.low_c, look.low_c);
                old.consequence = old.consequence.max(row.consequence);
                old.frozen |= row.frozen_now;
            }
            None => {
                // An older record of the same part says nothing any more.
                known.retain(|old| old.person != *person || old.system != System::of(row));
                known.push(Known {
                    person: person.clone(),
                    system: System::of(row),
                    since: row.since,
                    consequence: row.consequence,
                    told_at: look.now,
                    low_c: look.low_c,
                    frozen: row.frozen_now,
                });
            }
        }
    }
}

fn coldest(one: Option<f64>, two: Option<f64>) -> Option<f64> {
    match (one, two) {
        (Some(one), Some(two)) => Some(one.min(two)),
        (one, two) => one.or(two),
    }
}

/// Notes what has been past its limit after it was told.
pub(super) fn note_frozen(known: &mut [Known], rows: &[CircuitRisk]) {
    for row in rows.iter().filter(|row| row.frozen_now) {
        for known in known.iter_mut().filter(|known| known.is_about(row)) {
            known.frozen = true;
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;
    use crate::domain::boat::Evidence;
    use crate::domain::risk::{Limit, Priority};

    fn look(day: i64) -> Look {
        Look { now: at(day), low_c: Some(-5.0) }
    }

    fn at(day: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::days(19_000 + day)
    }

    fn row(consequence: Consequence, since: i64) -> CircuitRisk {
        CircuitRisk {
            boat: "B02".into(),
            site: "UPPER".into(),
            circuit: "part".into(),
            instance: None,
            holds: Holds::Fresh,
            since: Some(at(since)),
            evidence: Evidence::Recorded,
            consequence,
            limit: Limit::FirstIce,
            limit_at_c: Some(0.0),
            chance_first_ice: 0.5,
            chance_slush: 0.5,
            chance_burst: 0.5,
            chance_limit: 0.5,
            frozen_now: false,
            ice: Default::default(),
            separated: false,
            first_danger: None,
            latest_start: None,
            slack_s: None,
            priority: Priority::Medium,
            action: "drain".into(),
            minutes: 20.0,
            why: Vec::new(),
        }
    }

    #[test]
    fn a_severe_part_is_news_in_every_spell_until_it_has_frozen_or_been_refilled() {
        let (settings, person) = (AlertSettings::default(), PersonId::from("P02"));
        let mut known = Vec::new();
        let block = row(Consequence::Severe, 0);
        assert!(is_news(&known, &person, &block, &settings, look(1)));
        note_told(&mut known, &person, std::slice::from_ref(&block), look(1));
        assert!(is_news(&known, &person, &block, &settings, look(2)));
        let frozen = CircuitRisk { frozen_now: true, ..block.clone() };
        note_frozen(&mut known, &[frozen]);
        assert!(!is_news(&known, &person, &block, &settings, look(90)), "nothing left to prevent");
        assert!(is_news(&known, &person, &row(Consequence::Severe, 50), &settings, look(90)));
        assert!(is_news(&known, &PersonId::from("P51"), &block, &settings, look(90)));
    }

    #[test]
    fn a_small_part_is_told_once_for_a_long_while_unless_its_harm_has_grown() {
        let (settings, person) = (AlertSettings::default(), PersonId::from("P02"));
        let mut known = Vec::new();
        let small = row(Consequence::Minor, 0);
        note_told(&mut known, &person, std::slice::from_ref(&small), look(1));
        assert!(!is_news(&known, &person, &small, &settings, look(20)));
        assert!(
            is_news(&known, &person, &row(Consequence::Major, 0), &settings, look(20)),
            "afloat"
        );
    }
}
