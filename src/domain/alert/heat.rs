//! Kind `heat`: a heated place with boats in it is off, reads low, or is read no more, and frost is in sight outside. One
//! alert a place, told to whoever runs it: many boats hang on one heater.
//!
//! The boats' own danger is told by `freeze`, each to its owner; this says what can still be mended for all of them.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::plain::{self, Plain};
use super::thread::Thread;
use super::worse::hours;
use super::{
    Alert, AlertSettings, Annunciation, CloseReason, FirstSeen, Flat, Kind, Response, Subject,
    Transition,
};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::risk::Priority;

/// What is wrong with the heat of a place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "trouble", rename_all = "snake_case")]
pub enum Trouble {
    /// By the entries for the place it is off: the heater failed, was switched off, or has no power.
    Off {
        /// Since when.
        since: DateTime<Utc>,
    },
    /// The thermometer in it showed too little.
    Low {
        /// The lowest of the night, C.
        read_c: f64,
        /// The morning.
        morning: NaiveDate,
    },
    /// It was read day by day and is read no more.
    Silent {
        /// The last morning that was read.
        last: NaiveDate,
    },
}

impl Trouble {
    /// What stands in the alert for it.
    #[must_use]
    pub const fn key(&self) -> &'static str {
        match self {
            Self::Off { .. } => "heat_off",
            Self::Low { .. } => "heat_low",
            Self::Silent { .. } => "heat_silent",
        }
    }

    /// That nobody reads it is less than that it is cold.
    const fn priority(&self) -> Priority {
        match self {
            Self::Off { .. } | Self::Low { .. } => Priority::High,
            Self::Silent { .. } => Priority::Medium,
        }
    }

    fn words(&self) -> String {
        match self {
            Self::Off { since } => format!("the heat is off by the record since {since}"),
            Self::Low { read_c, morning } => {
                format!("the thermometer in it showed {read_c:.1} C on {morning}")
            }
            Self::Silent { last } => format!("not read since {last}"),
        }
    }
}

/// The cold outside, as far as it can be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outside {
    /// Frost is possible.
    Frost,
    /// Neither possible nor ruled out by the deadband.
    Between,
    /// None is in sight.
    Mild,
    /// Nobody can see: as if frost were possible, and nothing is called over.
    Unseen,
}

impl Outside {
    /// By the 10 % quantile of the coming low, C; `None` where there is no usable forecast.
    #[must_use]
    pub fn of(low_p10_c: Option<f64>, deadband_k: f64) -> Self {
        match low_p10_c {
            None => Self::Unseen,
            Some(low) if low < 0.0 => Self::Frost,
            Some(low) if low >= deadband_k => Self::Mild,
            Some(_) => Self::Between,
        }
    }
}

/// A heated place as things stand.
#[derive(Debug, Clone, Copy)]
pub struct HeatedPlace<'a> {
    /// Which.
    pub site: &'a SiteId,
    /// Who runs it; where nobody does, who keeps this service running.
    pub managers: &'a [PersonId],
    /// Who is told when they do not answer.
    pub next: &'a [PersonId],
    /// What is wrong; `None`: nothing that anybody knows of.
    pub trouble: Option<Trouble>,
    /// Boats that stand in it.
    pub boats: usize,
    /// One of them is in danger there, or would be were the heat off; where nobody can see: holds water in the cold half year.
    pub in_danger: bool,
    /// The weather outside.
    pub outside: Outside,
    /// The chance of the boat in the greatest danger, 0 to 1.
    pub chance: f64,
    /// Issue of the forecast looked at.
    pub issued_at: Option<DateTime<Utc>>,
    /// The alert of this kind that is not closed.
    pub open: Option<&'a Alert>,
    /// How many are closed.
    pub episodes_closed: u32,
    /// Limits.
    pub settings: &'a AlertSettings,
}

/// What to tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// It is so, or it is worse than told, or it is still so.
    Trouble,
    /// By the record it is heated again.
    Back,
    /// No boat stands in it any more.
    Empty,
    /// No frost is in sight any more.
    Mild,
}

/// What the word says; the boats in the place and the hours that each has are those of the same look.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// The alert.
    pub thread: Thread,
    /// Which word.
    pub word: Word,
    /// What is wrong; `None` where nothing is any more.
    pub trouble: Option<Trouble>,
    /// What was told before was that nobody reads it.
    pub was_silent: bool,
}

/// The alert after it, the row of its log, and what is told to whom. Pure.
pub type Decided = (Alert, Transition, Option<(Word, Vec<PersonId>)>);

/// A mere "seen" counts for so many hours: a shed cools through in a night.
const SEEN_COUNTS_H: i64 = 12;
/// Hours for which no frost must be in sight before the alert is let go.
const MILD_FOR_H: f64 = 12.0;

/// Decides about one heated place; `None` leaves things as they are.
#[must_use]
pub fn decide_heat(place: &HeatedPlace<'_>, now: DateTime<Utc>) -> Option<Decided> {
    match place.open {
        Some(open) => should_continue(place, open, now),
        None => begin(place, now),
    }
}

fn begin(place: &HeatedPlace<'_>, now: DateTime<Utc>) -> Option<Decided> {
    let trouble = place.trouble?;
    let cold = matches!(place.outside, Outside::Frost | Outside::Unseen);
    if !cold || place.boats == 0 || !place.in_danger || place.managers.is_empty() {
        return None;
    }
    let (subject, episode) =
        (Subject::Site(place.site.clone()), place.episodes_closed.saturating_add(1));
    let before = Alert::candidate(Kind::Heat, subject, place.site.clone(), episode);
    let mut next = before.clone();
    next.raised_at = Some(now);
    tell(&mut next, place.managers, place, trouble, now);
    let why = format!("{}; {} boats stand in it", trouble.words(), place.boats);
    let transition = Transition::between(1, &before, &next, now, "rule", &why, place.issued_at);
    Some((next, transition, Some((Word::Trouble, place.managers.to_vec()))))
}

fn should_continue(place: &HeatedPlace<'_>, open: &Alert, now: DateTime<Utc>) -> Option<Decided> {
    let told = || open.told.iter().filter(|(_, of)| of.awaits_closing).map(|(id, _)| id.clone());
    let close = |row, reason, why: &str, word| {
        let people: Vec<PersonId> = told().collect();
        let (next, transition) = plain::close(open, (row, reason, why), true, now);
        Some((next, transition, Some((word, people))))
    };
    let Some(trouble) = place.trouble else {
        let why = "by the record or the thermometer it is heated again";
        return close(13, CloseReason::Done, why, Word::Back);
    };
    if place.boats == 0 {
        return close(13, CloseReason::Done, "no boat stands in it any more", Word::Empty);
    }
    let shelved = open.flat() == Flat::Shelved;
    if let Annunciation::Shelved { until, .. } = open.annunciation
        && place.outside == Outside::Mild
        && now >= until
    {
        let why = "the shelf time is over, and no frost is in sight";
        return close(15, CloseReason::Returned, why, Word::Mild);
    }
    if place.outside == Outside::Mild && !shelved {
        let issue = place.issued_at.unwrap_or(now);
        let first = open.falling.unwrap_or(FirstSeen { at: now, issue });
        if hours(now - first.at) >= MILD_FOR_H {
            let row = if open.flat() == Flat::Acknowledged { 10 } else { 25 };
            return close(row, CloseReason::Returned, "no frost is in sight any more", Word::Mild);
        }
        return keep(open, Some(first), now);
    }
    let said = open.told.values().map(|ledger| ledger.last.action.as_str()).next_back();
    let graver = said == Some("heat_silent") && trouble.priority() == Priority::High;
    if graver {
        let mut next = open.clone();
        next.annunciation = Annunciation::Enabled;
        next.response = Response::Unacknowledged;
        next.falling = None;
        tell(&mut next, place.managers, place, trouble, now);
        let row = if shelved { 16 } else { 6 };
        let transition =
            Transition::between(row, open, &next, now, "rule", &trouble.words(), place.issued_at);
        return Some((next, transition, Some((Word::Trouble, place.managers.to_vec()))));
    }
    if let Annunciation::Shelved { until, .. } = open.annunciation {
        if now < until {
            return None;
        }
        let mut next = open.clone();
        next.annunciation = Annunciation::Enabled;
        next.response = Response::Unacknowledged;
        let people: Vec<PersonId> = told().collect();
        tell(&mut next, &people, place, trouble, now);
        let why = "the shelf time is over, and it is still so";
        let transition = Transition::between(15, open, &next, now, "rule", why, place.issued_at);
        return Some((next, transition, Some((Word::Trouble, people))));
    }
    untold(place, open, trouble, now)
        .or_else(|| lapse(place, open, trouble, now))
        .or_else(|| escalate(place, open, trouble, now))
        .or_else(|| keep(open, None, now))
}

/// A manager whom nothing of it has reached: the letter was lost, or they run the place only now.
fn untold(
    place: &HeatedPlace<'_>,
    open: &Alert,
    trouble: Trouble,
    now: DateTime<Utc>,
) -> Option<Decided> {
    let knows = |person: &PersonId| open.told.get(person).is_some_and(|of| of.awaits_closing);
    let people: Vec<PersonId> =
        place.managers.iter().filter(|person| !knows(person)).cloned().collect();
    if people.is_empty() {
        return None;
    }
    let mut next = open.clone();
    next.response = Response::Unacknowledged;
    tell(&mut next, &people, place, trouble, now);
    let why = "somebody who runs the place has not heard of it";
    let transition = Transition::between(6, open, &next, now, "rule", why, place.issued_at);
    Some((next, transition, Some((Word::Trouble, people))))
}

/// Seen, or planned, and still not mended when that time is over: it speaks again.
fn lapse(
    place: &HeatedPlace<'_>,
    open: &Alert,
    trouble: Trouble,
    now: DateTime<Utc>,
) -> Option<Decided> {
    let Response::Acknowledged { at, plan_until, .. } = &open.response else { return None };
    let over_at = match plan_until {
        Some(plan) => *plan + TimeDelta::hours(1),
        None => *at + TimeDelta::hours(SEEN_COUNTS_H),
    };
    let high = trouble.priority() == Priority::High;
    if now < over_at || !high || place.outside == Outside::Mild {
        return None;
    }
    let mut next = open.clone();
    next.response = Response::Unacknowledged;
    next.escalated = 0;
    tell(&mut next, place.managers, place, trouble, now);
    let why = "not recorded as mended by the time planned";
    let transition = Transition::between(8, open, &next, now, "rule", why, place.issued_at);
    Some((next, transition, Some((Word::Trouble, place.managers.to_vec()))))
}

/// Pressing and unanswered: the next contacts are told, once.
fn escalate(
    place: &HeatedPlace<'_>,
    open: &Alert,
    trouble: Trouble,
    now: DateTime<Utc>,
) -> Option<Decided> {
    let last = open.told.values().map(|ledger| ledger.last.at).max();
    let due = last.is_none_or(|last| hours(now - last) >= place.settings.escalate_h);
    let high = trouble.priority() == Priority::High;
    let untold: Vec<PersonId> =
        place.next.iter().filter(|person| !open.told.contains_key(*person)).cloned().collect();
    let waits = open.flat() == Flat::Unacknowledged && open.escalated == 0;
    if !due || !high || !waits || untold.is_empty() {
        return None;
    }
    let mut next = open.clone();
    next.escalated = 1;
    tell(&mut next, &untold, place, trouble, now);
    let why = "pressing and not answered: the next contacts are told";
    let transition = Transition::between(5, open, &next, now, "rule", why, place.issued_at);
    Some((next, transition, Some((Word::Trouble, untold))))
}

/// Nothing is told; only since when no frost is in sight may have changed.
fn keep(open: &Alert, falling: Option<FirstSeen>, now: DateTime<Utc>) -> Option<Decided> {
    if open.falling == falling {
        return None;
    }
    let mut next = open.clone();
    next.falling = falling;
    let why = if falling.is_some() { "no frost in sight" } else { "frost in sight again" };
    let transition = Transition::between(7, open, &next, now, "rule", why, None);
    Some((next, transition, None))
}

fn tell(
    next: &mut Alert,
    people: &[PersonId],
    place: &HeatedPlace<'_>,
    trouble: Trouble,
    now: DateTime<Utc>,
) {
    let plain = Plain {
        priority: trouble.priority(),
        chance: place.chance,
        minutes: 0.0,
        systems: &[],
        action: trouble.key(),
    };
    plain::tell(next, people, &plain, now);
}
