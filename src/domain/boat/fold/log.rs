//! Which entries of the log count, as corrected, in the order in which they are taken.

use std::borrow::Borrow;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;

use chrono::{DateTime, FixedOffset, Utc};

use crate::domain::boat::{BoatId, EventId, Evidence, LayupEvent, Precision};
use crate::domain::catalogue::{Catalogue, EffectKind, EventClass, EventKind, Reason};

const CORRECTION: &str = "correction";
const DAY_S: i64 = 86_400;

/// An entry as it stands in the log, or as corrected. Boxed, since entries are moved while they are sorted.
pub(super) enum Told<'a> {
    AsWritten(&'a LayupEvent),
    Corrected(Box<LayupEvent>),
}

impl Deref for Told<'_> {
    type Target = LayupEvent;

    fn deref(&self) -> &LayupEvent {
        match self {
            Self::AsWritten(event) => event,
            Self::Corrected(event) => event,
        }
    }
}

/// One entry with its kind.
pub(super) struct Entry<'a> {
    pub(super) event: Told<'a>,
    pub(super) kind: &'a EventKind,
    taken_at_s: i64,
    rank: u8,
}

/// The entries that count for a boat at `at`, as known at `known_at`. The result does not depend on the order of `events`.
pub(super) fn entries<'a, E: Borrow<LayupEvent>>(
    boat: &BoatId,
    events: &'a [E],
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
    catalogue: &'a Catalogue,
) -> Vec<Entry<'a>> {
    let known = || {
        events.iter().map(Borrow::borrow).filter(|event: &&LayupEvent| {
            event.recorded_at <= known_at && event.boat.as_ref().is_none_or(|of| of == boat)
        })
    };
    let corrections = known().filter(|event| event.kind == CORRECTION).collect();
    let corrections = Corrections::sort(corrections);
    let mut entries: Vec<Entry<'a>> = known()
        .filter(|event| event.kind != CORRECTION)
        .filter_map(|event| {
            let event = corrections.apply(event).filter(|event| event.happened_at <= at)?;
            let kind = catalogue.event(&event.kind)?;
            Some(Entry::new(event, kind))
        })
        .collect();
    entries.sort_by(|a, b| a.order(b));
    once(entries)
}

/// Of entries that say the same of the same moment only the first.
fn once(entries: Vec<Entry<'_>>) -> Vec<Entry<'_>> {
    let mut kept: Vec<Entry<'_>> = Vec::with_capacity(entries.len());
    for entry in entries {
        let at = entry.taken_at_s;
        let mut of_its_moment = kept.iter().rev().take_while(|before| before.taken_at_s == at);
        if !of_its_moment.any(|before| entry.event.repeats(&before.event)) {
            kept.push(entry);
        }
    }
    kept
}

/// Ids of the entries that have been withdrawn, as known at `known_at`.
pub(in crate::domain::boat) fn withdrawn(
    events: &[LayupEvent],
    known_at: DateTime<Utc>,
) -> BTreeSet<&str> {
    let known = events.iter().filter(|event| event.kind == CORRECTION);
    let known = known.filter(|event| event.recorded_at <= known_at).collect();
    Corrections::sort(known).voided.into_iter().collect()
}

impl<'a> Entry<'a> {
    fn new(event: Told<'a>, kind: &'a EventKind) -> Self {
        let undoing = kind.class == EventClass::Undoing;
        let stated = event.happened_at.timestamp();
        let taken_at_s = match event.precision {
            Precision::Minute => stated - stated.rem_euclid(60),
            // The hour is a placeholder: protecting is taken at the start of the local day and undoing at its end, so
            // that undoing is last whichever of the two has no hour.
            Precision::Day => {
                let offset = i64::from(event.happened_offset_s);
                let start = stated - (stated + offset).rem_euclid(DAY_S);
                if undoing { start + DAY_S - 1 } else { start }
            }
        };
        // Of one moment, or of one day without hours, the natural order of work: emptied, filled, read; what is declined and
        // what undoes last.
        let rank = match kind.effect {
            _ if undoing => 4,
            _ if kind.question == Some(Reason::Declined) => 3,
            EffectKind::Reading | EffectKind::LoopReading => 2,
            EffectKind::Blend => 1,
            _ => 0,
        };
        Self { event, kind, taken_at_s, rank }
    }

    /// Grade of evidence of the entry: what it states, at least that somebody says so, at most what its kind allows.
    /// Measured is what has a figure that was read: without one it is no more than written down.
    pub(super) fn grade(&self) -> Evidence {
        let event = &*self.event;
        let read = event.reading_value.is_some() || event.volts.is_some();
        let stated = match event.evidence {
            Evidence::Measured if !read && self.kind.class == EventClass::Protecting => {
                Evidence::Recorded
            }
            stated => stated,
        };
        let denied = self.kind.class == EventClass::Protecting && event.is_denied();
        let stated = if denied { stated.min(Evidence::Claimed) } else { stated };
        stated.max(Evidence::Claimed).min(self.kind.evidence_cap)
    }

    /// Does it answer anything? One without a word or a figure does not.
    pub(super) fn answers(&self) -> bool {
        let event = &*self.event;
        let text =
            |text: &Option<String>| text.as_deref().is_some_and(|text| !text.trim().is_empty());
        let figures = [event.litres_in, event.litres_out, event.minutes, event.volts];
        self.kind.flags.answers
            && (text(&event.method)
                || text(&event.note)
                || event.probed.is_some()
                || event.reading_value.is_some()
                || figures.iter().any(Option::is_some))
    }

    /// The same entry with nothing said of litres: those are of the parts that it names.
    pub(super) fn without_litres(&self) -> Self {
        let event = LayupEvent { litres_in: None, litres_out: None, ..(*self.event).clone() };
        let Self { kind, taken_at_s, rank, .. } = *self;
        Self { event: Told::Corrected(Box::new(event)), kind, taken_at_s, rank }
    }

    /// Whether two sheets speak of the same moment, or of the same day where one of them has no hour.
    pub(super) fn disagrees_with(&self, other: &Self) -> bool {
        let no_hour =
            self.event.precision == Precision::Day || other.event.precision == Precision::Day;
        let day = |event: &LayupEvent| {
            (event.happened_at.timestamp() + i64::from(event.happened_offset_s)).div_euclid(DAY_S)
        };
        (self.taken_at_s == other.taken_at_s || (no_hour && day(&self.event) == day(&other.event)))
            && self.event.sheet.is_some()
            && other.event.sheet.is_some()
            && self.event.sheet != other.event.sheet
    }

    fn order(&self, other: &Self) -> std::cmp::Ordering {
        let (a, b) = (&self.event, &other.event);
        (self.taken_at_s, self.rank, a.happened_at, a.recorded_at, a.id.as_str().len(), &a.id).cmp(
            &(
                other.taken_at_s,
                other.rank,
                b.happened_at,
                b.recorded_at,
                b.id.as_str().len(),
                &b.id,
            ),
        )
    }
}

/// Corrections by what they correct: withdrawn entries, and fields that replace others.
struct Corrections<'a> {
    voided: Vec<&'a str>,
    replacing: BTreeMap<&'a str, Vec<Told<'a>>>,
}

impl<'a> Corrections<'a> {
    fn sort(mut corrections: Vec<&'a LayupEvent>) -> Self {
        let targets: BTreeMap<&str, &str> = corrections
            .iter()
            .filter_map(|event| Some((event.id.as_str(), target_of(event)?)))
            .collect();
        // How many corrections lie between one and the entry that it bears on: one that withdraws a correction acts before
        // it, whenever either was written. A ring of them ends where all have been passed.
        let depth = |event: &LayupEvent| {
            let chain =
                std::iter::successors(targets.get(event.id.as_str()), |id| targets.get(*id));
            chain.take(targets.len() + 1).count()
        };
        corrections.sort_by_key(|event| {
            (depth(event), event.recorded_at, event.id.as_str().len(), &event.id)
        });
        let mut sorted = Self { voided: Vec::new(), replacing: BTreeMap::new() };
        // The latest first, so that a correction that was itself withdrawn or corrected is so before it acts.
        for event in corrections.iter().rev() {
            let Some(target) = target_of(event) else { continue };
            let Some(event) = sorted.apply(event) else { continue };
            if event.withdraws() {
                sorted.voided.push(target);
            } else {
                sorted.replacing.entry(target).or_default().push(event);
            }
        }
        sorted
    }

    /// The event with what corrects it; `None` if it was withdrawn.
    fn apply(&self, event: &'a LayupEvent) -> Option<Told<'a>> {
        if self.voided.contains(&event.id.as_str()) {
            return None;
        }
        let Some(replacing) = self.replacing.get(event.id.as_str()) else {
            return Some(Told::AsWritten(event));
        };
        let mut corrected = event.clone();
        for correction in replacing.iter().rev() {
            corrected.take_over(correction);
            corrected.move_with(correction);
            // Without the column, `point` held the id and says nothing of a drain or an outlet.
            if correction.corrects.is_none() {
                corrected.point.clone_from(&event.point);
            }
        }
        Some(Told::Corrected(Box::new(corrected)))
    }
}

/// The id of what a correction corrects; it may also stand in `point`, where nothing else has taken it from there yet.
fn target_of(correction: &LayupEvent) -> Option<&str> {
    let target = correction.corrects.as_ref().map(EventId::as_str);
    target.or(correction.point.as_deref()).map(str::trim)
}

pub(super) fn local_time(event: &LayupEvent) -> Option<DateTime<FixedOffset>> {
    Some(event.happened_at.with_timezone(&FixedOffset::east_opt(event.happened_offset_s)?))
}

/// A flush that the engine itself pumped: it mixes the loops like any run.
pub(super) fn is_engine_blend(entry: &Entry<'_>) -> bool {
    entry.kind.effect == EffectKind::Blend
        && entry
            .event
            .method
            .as_deref()
            .is_some_and(|method| in_one_word(method).starts_with("run"))
}

/// `Run warm` as the table of entries writes it.
pub(super) fn in_one_word(method: &str) -> String {
    method.trim().to_lowercase().replace([' ', '-'], "_")
}
