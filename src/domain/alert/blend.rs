//! Kind `blend`: what the record says is in a dear circuit would not hold a winter of its place, and no such cold is in
//! sight. One word a winter, so that it is tested and renewed at the next visit; a freeze in sight says more and takes over.

use chrono::{DateTime, NaiveDate, Utc};

use super::plain::{self, Plain};
use super::thread::Thread;
use super::{Alert, CloseReason, Concerned, Flat, Kind, System, Transition};
use crate::domain::boat::BoatId;
use crate::domain::risk::Priority;
use crate::domain::units::Celsius;

/// One boat with antifreeze in her.
#[derive(Debug, Clone)]
pub struct Filled<'a> {
    /// The boat, and how far its alerts of this kind have come.
    pub of: Concerned<'a>,
    /// Dear circuits whose mixture is too weak for the rest of a winter; empty: none.
    pub weak: &'a [System],
    /// What a word would say of them.
    pub past: &'a PastWinters,
    /// The share of past winters in which the worst of them broke on or after this day of the season, 0 to 1.
    pub chance: f64,
    /// Is the cold over that would break it?
    pub over: bool,
    /// Cold may be in sight that nobody has been told of yet, nobody can see, or what was told of has been undone and not renewed:
    /// nothing is said and nothing closed.
    pub waits: bool,
}

/// A circuit with too weak a mixture.
#[derive(Debug, Clone, PartialEq)]
pub struct WeakPart {
    /// Which.
    pub system: System,
    /// First ice of what is in it.
    pub first_ice: Celsius,
    /// A third of it ice; `None` where the data end before.
    pub burst: Option<Celsius>,
    /// Past winters in which it broke on or after this day of the season.
    pub winters: usize,
}

/// What a boat's antifreeze would have come to in past winters.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PastWinters {
    /// What is too weak.
    pub weak: Vec<WeakPart>,
    /// Past winters looked at.
    pub winters: usize,
    /// More than this share of them is told, 0 to 1.
    pub tolerance: f64,
    /// The earliest day on which one of them broke in a past winter, in this one.
    pub earliest: Option<NaiveDate>,
    /// First ice of the weakest mixture that holds in nearly all of those winters; `None`: no mixture is known to.
    pub holds_from: Option<Celsius>,
}

/// What a word says: the numbers that it was decided on.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// The alert.
    pub thread: Thread,
    /// Which word.
    pub word: Word,
    /// Which boat.
    pub boat: BoatId,
    /// What past winters say.
    pub past: PastWinters,
}

/// What to tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// It is too weak.
    Weak,
    /// The record says otherwise now.
    Done,
    /// The cold that would have broken it is over for this winter.
    Over,
}

/// The alert after it, the row of its log, and what the reader is told, if anything. Pure.
#[must_use]
pub fn decide_filled(
    filled: &Filled<'_>,
    now: DateTime<Utc>,
) -> Option<(Alert, Transition, Option<Word>)> {
    match filled.of.open {
        Some(open) => should_continue(filled, open, now),
        None => begin(filled, now),
    }
}

fn begin(filled: &Filled<'_>, now: DateTime<Utc>) -> Option<(Alert, Transition, Option<Word>)> {
    let reader = filled.of.reader?;
    let other = filled.waits || filled.of.freeze.is_some();
    if filled.of.had_one(now) || filled.weak.is_empty() || other || !filled.of.is_day(now) {
        return None;
    }
    let before = filled.of.candidate(Kind::Blend);
    let mut next = before.clone();
    next.raised_at = Some(now);
    let plain = Plain {
        priority: Priority::Low,
        chance: filled.chance,
        minutes: 0.0,
        systems: filled.weak,
        action: "test_and_renew",
    };
    plain::tell(&mut next, std::slice::from_ref(reader), &plain, now);
    let mut parts: Vec<&str> = filled.weak.iter().map(|system| system.circuit.as_str()).collect();
    parts.dedup();
    let why = format!(
        "too weak for {:.0} % of the past winters from this day on, and no such cold in sight: {}",
        filled.chance * 100.0,
        parts.join(", ")
    );
    let transition = Transition::between(1, &before, &next, now, "rule", &why, None);
    Some((next, transition, Some(Word::Weak)))
}

fn should_continue(
    filled: &Filled<'_>,
    open: &Alert,
    now: DateTime<Utc>,
) -> Option<(Alert, Transition, Option<Word>)> {
    let close = |row, reason: CloseReason, why: &str, word: Option<Word>| {
        let (next, transition) = plain::close(open, (row, reason, why), word.is_some(), now);
        Some((next, transition, word))
    };
    if let Some(by) = filled.of.freeze {
        let reason = CloseReason::Superseded { by: by.clone() };
        return close(21, reason, "a freeze is in sight: its alert says more", None);
    }
    if !filled.weak.is_empty() || filled.waits || !filled.of.is_day(now) {
        return None;
    }
    if filled.over {
        let row = if open.flat() == Flat::Acknowledged { 10 } else { 25 };
        let why = "the cold that would have broken it is over for this winter";
        return close(row, CloseReason::Returned, why, Some(Word::Over));
    }
    let why = "by the record nothing too weak is left in it";
    close(13, CloseReason::Done, why, Some(Word::Done))
}
