//! Kind `deadline`: the first damaging freeze of the season is near, by past seasons, and the record does not say that the
//! boat is laid up. A few words in good time, three at most, and none once it is done or a freeze in sight says more.

use chrono::{DateTime, NaiveDate, Utc};

use super::plain::{self, Plain};
use super::thread::Thread;
use super::{Alert, CloseReason, Concerned, Flat, Kind, Response, System, Transition};
use crate::domain::boat::BoatId;
use crate::domain::risk::Priority;

/// Days before the last day on which the first, second and third word is due.
const WORDS_DAYS_BEFORE: [i64; 3] = [21, 7, 2];
/// Two words lie so many days apart at least.
const APART_DAYS: i64 = 4;
/// Inside so many days it is of medium priority.
const MEDIUM_DAYS: i64 = 7;
/// After so many days past the last day nobody is nudged any more: forecasts say what there is to say.
const OVER_DAYS: i64 = 14;
/// A plan counts as kept until a day after its time.
const PLAN_DAYS: i64 = 1;

/// One boat in autumn.
#[derive(Debug, Clone)]
pub struct Autumn<'a> {
    /// The boat, and how far its alerts of this kind have come.
    pub of: Concerned<'a>,
    /// Dear parts that hold water or nothing on record; empty: laid up.
    pub wet: &'a [System],
    /// The last day on which the chance that one of them has frozen is within the tolerance, by past seasons.
    pub last_day: NaiveDate,
    /// That chance, 0 to 1.
    pub tolerance: f64,
    /// Minutes of the work.
    pub minutes: f64,
    /// The day by which half of the past autumns had frozen.
    pub half_day: Option<NaiveDate>,
    /// Past seasons looked at.
    pub seasons: usize,
}

/// What a nudge says: the numbers that it was decided on.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// The alert.
    pub thread: Thread,
    /// Which word.
    pub word: Word,
    /// Which boat.
    pub boat: BoatId,
    /// Dear parts that hold water or nothing on record.
    pub wet: Vec<System>,
    /// The last day.
    pub last_day: NaiveDate,
    /// The chance tolerated until then, 0 to 1.
    pub tolerance: f64,
    /// The day by which half of the past autumns had frozen.
    pub half_day: Option<NaiveDate>,
    /// Past seasons looked at.
    pub seasons: usize,
    /// Minutes of the work.
    pub minutes: f64,
}

/// What to tell the owner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// The first, second or third nudge, from 1.
    Nudge(u8),
    /// The record says done.
    Done,
}

/// The alert after it, the row of its log, and what the owner is told, if anything. Pure.
#[must_use]
pub fn decide_autumn(
    autumn: &Autumn<'_>,
    now: DateTime<Utc>,
) -> Option<(Alert, Transition, Option<Word>)> {
    match autumn.of.open {
        Some(open) => should_continue(autumn, open, now),
        None => begin(autumn, now),
    }
}

fn begin(autumn: &Autumn<'_>, now: DateTime<Utc>) -> Option<(Alert, Transition, Option<Word>)> {
    let days = days_left(autumn, now);
    let due = days <= WORDS_DAYS_BEFORE[0] && days >= -OVER_DAYS;
    autumn.of.reader?;
    let had = autumn.of.had_one(now) || autumn.of.freeze.is_some();
    if had || !due || autumn.wet.is_empty() || !autumn.of.is_day(now) {
        return None;
    }
    let before = autumn.of.candidate(Kind::Deadline);
    let mut next = before.clone();
    next.raised_at = Some(now);
    tell(&mut next, autumn, now);
    let why =
        format!("not recorded as laid up; by past seasons {} is the last day", autumn.last_day);
    let transition = Transition::between(1, &before, &next, now, "rule", &why, None);
    Some((next, transition, Some(Word::Nudge(1))))
}

fn should_continue(
    autumn: &Autumn<'_>,
    open: &Alert,
    now: DateTime<Utc>,
) -> Option<(Alert, Transition, Option<Word>)> {
    let answered = open.flat() == Flat::Acknowledged;
    let close = |row, reason: CloseReason, why: &str, word: Option<Word>| {
        let (next, transition) =
            plain::close(open, (row, reason, why), word == Some(Word::Done), now);
        Some((next, transition, word))
    };
    if autumn.wet.is_empty() {
        return close(
            13,
            CloseReason::Done,
            "the record says that it is laid up",
            Some(Word::Done),
        );
    }
    if let Some(by) = autumn.of.freeze {
        let reason = CloseReason::Superseded { by: by.clone() };
        return close(21, reason, "a freeze is in sight: its alert says more", None);
    }
    let days = days_left(autumn, now);
    if days < -OVER_DAYS {
        let row = if answered { 10 } else { 25 };
        return close(row, CloseReason::Returned, "the time of first freezes is over", None);
    }
    let said = open.told.values().map(|ledger| ledger.sent.len()).max().unwrap_or(0);
    let due = WORDS_DAYS_BEFORE.get(said).is_some_and(|before| days <= *before);
    let lately = open.told.values().any(|ledger| (now - ledger.last.at).num_days() < APART_DAYS);
    if !due || lately || !autumn.of.is_day(now) || plans(open, now) || open.flat() == Flat::Shelved
    {
        return None;
    }
    autumn.of.reader?;
    let mut next = open.clone();
    next.response = Response::Unacknowledged;
    tell(&mut next, autumn, now);
    let why = format!("still not recorded as laid up, {days} days before the last day");
    let row = if answered { 8 } else { 6 };
    let transition = Transition::between(row, open, &next, now, "rule", &why, None);
    let number = u8::try_from(said.saturating_add(1)).unwrap_or(u8::MAX);
    Some((next, transition, Some(Word::Nudge(number))))
}

/// Does somebody mean to do it, and is their time not over?
fn plans(open: &Alert, now: DateTime<Utc>) -> bool {
    match &open.response {
        Response::Acknowledged { plan_until: Some(plan), .. } => {
            now < *plan + chrono::TimeDelta::days(PLAN_DAYS)
        }
        _ => false,
    }
}

fn tell(next: &mut Alert, autumn: &Autumn<'_>, now: DateTime<Utc>) {
    let Some(owner) = autumn.of.reader else { return };
    let near = days_left(autumn, now) <= MEDIUM_DAYS;
    let priority = if near { Priority::Medium } else { Priority::Low };
    let plain = Plain {
        priority,
        chance: autumn.tolerance,
        minutes: autumn.minutes,
        systems: autumn.wet,
        action: "lay_up",
    };
    plain::tell(next, std::slice::from_ref(owner), &plain, now);
}

/// Days from today to the last day.
fn days_left(autumn: &Autumn<'_>, now: DateTime<Utc>) -> i64 {
    (autumn.last_day - now.with_timezone(&autumn.of.zone).date_naive()).num_days()
}
