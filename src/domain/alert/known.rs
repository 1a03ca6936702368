//! What a person has been told in this and in earlier episodes: a part that was named, as its record stands, is news
//! again only under the rules here.
//!
//! Silence is earned in two ways and no other: the part was told and is past its limit by hours that are known (nothing is left
//! to prevent; it stands on the worklist and the test-first list until the record changes); a part of minor or major
//! harm was told not long ago, its work asked for, and nothing about it has changed. A part of severe harm that has not frozen is news
//! in every spell, and so is any part whose work was withheld because it was told as frozen, once there is work to do.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::worse::hours;
use super::{AlertSettings, System};
use crate::domain::boat::{Holds, PersonId};
use crate::domain::risk::{CircuitRisk, Consequence, IceSoFar, Priority};

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
    /// Since when it has been past its limit by hours that are known; nothing in older documents, which may have guessed it.
    #[serde(default)]
    pub frozen_from: Option<DateTime<Utc>>,
    /// It was told as frozen, and its work has never been asked for.
    #[serde(default)]
    pub withheld: bool,
    /// They were told that it is about to thaw.
    #[serde(default)]
    pub thaw_told: bool,
}

/// So long before a thaw that can flood it is told, hours: a day and a night to get there.
const THAW_TOLD_H: f64 = 36.0;

/// When a crack in this part would let water in, if that is soon and can be met.
pub(super) fn floods_at(row: &CircuitRisk, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let thaws_at = row.ice.thaws_at.filter(|_| row.frozen_now && row.ice.floods)?;
    (thaws_at > now && hours(thaws_at - now) <= THAW_TOLD_H).then_some(thaws_at)
}

/// The work of this part can be done, and this person was never asked for it: it was never named, or it was told as frozen.
pub(super) fn is_unasked(known: &[Known], person: &PersonId, row: &CircuitRisk) -> bool {
    let told = known.iter().find(|known| known.person == *person && known.is_about(row));
    !row.frozen_now && told.is_none_or(|told| told.withheld)
}

/// Its work was withheld from this person, and can be done.
pub(super) fn is_possible_again(known: &[Known], person: &PersonId, row: &CircuitRisk) -> bool {
    let mut told = known.iter().filter(|known| known.person == *person && known.is_about(row));
    !row.frozen_now && told.any(|told| told.withheld)
}

/// Is its thaw one to be told of, and not told to this person?
pub(super) fn is_thaw_news(
    known: &[Known],
    person: &PersonId,
    row: &CircuitRisk,
    now: DateTime<Utc>,
) -> bool {
    let mut told = known.iter().filter(|known| known.person == *person && known.is_about(row));
    floods_at(row, now).is_some() && !told.any(|told| told.thaw_told)
}

/// What was told as frozen longer ago than the judge looks back stays so until its record changes: a thaw makes nothing whole.
pub(super) fn keep_frozen(
    rows: &mut [CircuitRisk],
    known: &[Known],
    (now, looked_back_h): (DateTime<Utc>, f64),
) {
    /// The hour of the ice lies before that in which it was first seen: by a day at the most.
    const SEEN_LATER_H: f64 = 48.0;
    let forgotten = |known: &&Known| {
        known.frozen_from.is_some_and(|from| hours(now - from) + SEEN_LATER_H >= looked_back_h)
    };
    for row in rows.iter_mut().filter(|row| !row.frozen_now) {
        if known.iter().filter(forgotten).any(|known| known.is_about(row)) {
            row.frozen_now = true;
            row.ice = IceSoFar { thawed: true, ..row.ice };
            (row.first_danger, row.latest_start, row.slack_s) = (Some(now), None, None);
            row.minutes = 0.0;
            row.priority = row.priority.min(Priority::Medium);
        }
    }
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
    if row.frozen_now {
        return is_thaw_news(known, person, row, look.now);
    }
    if told.withheld || row.consequence == Consequence::Severe {
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
                old.withheld &= row.frozen_now;
                old.thaw_told |= floods_at(row, look.now).is_some();
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
                    frozen_from: row.frozen_now.then_some(look.now),
                    withheld: row.frozen_now,
                    thaw_told: floods_at(row, look.now).is_some(),
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

/// Notes what has been past its limit after it was told, and what was not after all.
pub(super) fn note_frozen(known: &mut [Known], rows: &[CircuitRisk], now: DateTime<Utc>) {
    for row in rows {
        for known in known.iter_mut().filter(|known| known.is_about(row)) {
            known.frozen |= row.frozen_now;
            let since = known.frozen_from.unwrap_or(now);
            known.frozen_from = row.frozen_now.then_some(since);
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
        note_frozen(&mut known, std::slice::from_ref(&frozen), at(3));
        assert!(!is_news(&known, &person, &frozen, &settings, look(5)), "nothing left to prevent");
        let mut later = [block.clone()];
        keep_frozen(&mut later, &known, (at(60), 960.0));
        assert!(later[0].frozen_now && !is_news(&known, &person, &later[0], &settings, look(60)));
        assert!(is_news(&known, &person, &row(Consequence::Severe, 50), &settings, look(90)));
        assert!(is_news(&known, &PersonId::from("P51"), &block, &settings, look(90)));
    }

    #[test]
    fn what_was_told_as_frozen_is_news_once_its_work_can_be_done() {
        let (settings, person) = (AlertSettings::default(), PersonId::from("P02"));
        for consequence in [Consequence::Minor, Consequence::Major, Consequence::Severe] {
            let mut known = Vec::new();
            let open = row(consequence, 0);
            let frozen = CircuitRisk { frozen_now: true, ..open.clone() };
            note_told(&mut known, &person, std::slice::from_ref(&frozen), look(1));
            assert!(!is_news(&known, &person, &frozen, &settings, look(2)));
            assert!(is_news(&known, &person, &open, &settings, look(2)));
            // As documents of before tell it: frozen, and nobody knows on what.
            known[0] = Known { frozen_from: None, ..known[0].clone() };
            let mut rows = [open.clone()];
            keep_frozen(&mut rows, &known, (at(90), 960.0));
            assert!(!rows[0].frozen_now, "a guess keeps nothing back");
            note_told(&mut known, &person, std::slice::from_ref(&open), look(2));
            assert!(!known[0].withheld);
        }
    }

    #[test]
    fn a_thaw_that_can_flood_is_told_once() {
        let (settings, person) = (AlertSettings::default(), PersonId::from("P02"));
        let mut known = Vec::new();
        let mut frozen = CircuitRisk { frozen_now: true, ..row(Consequence::Severe, 0) };
        note_told(&mut known, &person, std::slice::from_ref(&frozen), look(1));
        frozen.ice.thaws_at = Some(at(3));
        assert!(!is_news(&known, &person, &frozen, &settings, look(2)), "nothing runs out of it");
        frozen.ice.floods = true;
        assert!(!is_news(&known, &person, &frozen, &settings, look(1)), "two days ahead");
        assert!(is_news(&known, &person, &frozen, &settings, look(2)));
        note_told(&mut known, &person, std::slice::from_ref(&frozen), look(2));
        assert!(!is_news(&known, &person, &frozen, &settings, look(2)));
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
