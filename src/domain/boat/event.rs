//! One entry of the lay-up log.

use chrono::{DateTime, FixedOffset, Utc};
use serde::{Deserialize, Serialize};

use super::{BoatId, CircuitId, Evidence, SiteId, identifier};
use crate::domain::catalogue::{CoolingKind, Remark, Says, remark_words};

identifier!(
    /// An event of the log, such as `E118`.
    EventId
);

/// How exactly the time of an event is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Precision {
    /// To the minute.
    #[default]
    Minute,
    /// Only the day: the hour shown is a placeholder.
    Day,
}

/// One entry: what happened, when, when the yard learned of it, on whose word. Never edited; corrections are events.
///
/// Blank columns are `None` or empty. Texts are as written; people stand in `who` as the entry names them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LayupEvent {
    /// Its id in the log.
    pub id: EventId,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// The place's UTC offset in seconds as the entry states it; decides the local day.
    pub happened_offset_s: i32,
    /// How exactly that is known.
    pub precision: Precision,
    /// When the yard learned of it, as stated by whoever entered it.
    pub recorded_at: DateTime<Utc>,
    /// The boat, unless the event is about a whole place.
    pub boat: Option<BoatId>,
    /// The place, where the event is about one or moves the boat.
    pub site: Option<SiteId>,
    /// Kind of event, a row of the event catalogue.
    pub kind: String,
    /// Circuits named, groups not yet expanded: `ENGINE_RAW` may stand here.
    pub circuits: Vec<CircuitId>,
    /// Instances named in the optional column `instance`.
    pub instance: Option<String>,
    /// Drain or outlet, in words.
    pub point: Option<String>,
    /// Fluid, as written: `PG`, `EG`, `ethanol`.
    pub fluid: Option<String>,
    /// Label class, as written: `-50F`.
    pub label: Option<String>,
    /// Method, as written.
    pub method: Option<String>,
    /// Was the thermostat open: `yes`, `no`, `unknown`, `n/a`.
    pub thermostat_open: Option<String>,
    /// Litres put in.
    pub litres_in: Option<f64>,
    /// Litres that came out.
    pub litres_out: Option<f64>,
    /// A reading.
    pub reading_value: Option<f64>,
    /// Unit of the reading: `C`, `F`.
    pub reading_unit: Option<String>,
    /// Scale that it was read on: `PG`, `EG`.
    pub scale: Option<String>,
    /// Minutes that it took.
    pub minutes: Option<f64>,
    /// A percentage, such as how full the tank is.
    pub percent: Option<f64>,
    /// Rest voltage of a battery.
    pub volts: Option<f64>,
    /// Were the drains probed?
    pub probed: Option<bool>,
    /// Who did it, as named in the entry.
    pub who: Option<String>,
    /// In what role: owner, technician, yard, surveyor.
    pub role: Option<String>,
    /// Grade of evidence that the entry states (`witnessed` is read as recorded, or probed where ice was seen).
    pub evidence: Evidence,
    /// The paper sheet.
    pub sheet: Option<String>,
    /// The event that this one corrects.
    pub corrects: Option<EventId>,
    /// Free text.
    pub note: Option<String>,
}

/// What came out with the old gear oil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OldOil {
    /// No water.
    Clear,
    /// Water: milky, cloudy, drops.
    Wet,
}

/// Hands the fields that a correction may carry, each blank where it says nothing, to another macro.
macro_rules! of_the_blank_fields {
    ($each:ident) => {
        $each!(
            site,
            instance,
            point,
            fluid,
            label,
            method,
            thermostat_open,
            litres_in,
            litres_out,
            reading_value,
            reading_unit,
            scale,
            minutes,
            percent,
            volts,
            probed,
            note
        )
    };
}

impl LayupEvent {
    /// Does it say what `other` says, word for word, of the same moment? A sheet that is entered twice tells nothing twice.
    #[must_use]
    pub fn repeats(&self, other: &Self) -> bool {
        if self.kind != other.kind || self.happened_at != other.happened_at {
            return false;
        }
        let entered = Self {
            id: self.id.clone(),
            recorded_at: self.recorded_at,
            sheet: self.sheet.clone(),
            ..other.clone()
        };
        entered == *self
    }

    /// How the engine of a boat is cooled, as an answer that is given `now`, by the clock of its place. `by`: by whom or by what.
    #[must_use]
    pub fn cooling_answer(
        boat: &BoatId,
        cooling: CoolingKind,
        by: &str,
        now: DateTime<FixedOffset>,
    ) -> Self {
        let id = format!("{boat}-{}-cooling", now.to_utc().format("%Y%m%dT%H%M%SZ"));
        let blank = Self::blank(id.into(), "question_answered".to_owned(), now, Evidence::Claimed);
        Self {
            boat: Some(boat.clone()),
            method: Some(format!("cooling: {}", cooling.as_str())),
            who: Some(by.to_owned()),
            ..blank
        }
    }

    /// Takes over what a correction carries; who, when, which boat and which kind stay.
    pub(super) fn take_over(&mut self, correction: &Self) {
        macro_rules! carry {
            ($($field:ident),+) => {
                $(if correction.$field.is_some() {
                    self.$field.clone_from(&correction.$field);
                })+
            };
        }
        of_the_blank_fields!(carry);
        if !correction.circuits.is_empty() {
            self.circuits.clone_from(&correction.circuits);
        }
        if correction.evidence != Evidence::None {
            self.evidence = correction.evidence;
        }
    }

    /// Moves to the time that a correction states, if it states one.
    pub(super) fn move_with(&mut self, correction: &Self) {
        if let Some(at) = correction.moves_to() {
            self.happened_at = at;
            self.happened_offset_s = correction.happened_offset_s;
            self.precision = correction.precision;
        }
    }

    /// Says nothing more in these fields.
    pub(super) fn leave_blank(&mut self, fields: &[String]) {
        let is_named = |name: &str| fields.iter().any(|field| field == name);
        macro_rules! leave {
            ($($field:ident),+) => {
                $(if is_named(stringify!($field)) {
                    self.$field = None;
                })+
            };
        }
        of_the_blank_fields!(leave);
        if is_named("circuits") {
            self.circuits.clear();
        }
        if is_named("evidence") {
            self.evidence = Evidence::None;
        }
    }

    /// As an entry about gear oil: what it says of the old oil, if anything. Words that are there and not understood are wet, and
    /// a remark can only make it worse.
    #[must_use]
    pub fn oil_seen(&self) -> Option<OldOil> {
        let words = remark_words();
        if self.remark().is_some_and(|remark| remark.tells(Says::WaterSeen)) {
            return Some(OldOil::Wet);
        }
        let method = self.method.as_deref().filter(|method| !method.trim().is_empty())?;
        if !words.says_nothing_but(&["oil_clear", "oil_way"], method) {
            return Some(OldOil::Wet);
        }
        words.says("oil_clear", method).then_some(OldOil::Clear)
    }

    /// What its remark says, if it has one.
    #[must_use]
    pub fn remark(&self) -> Option<Remark> {
        self.note.as_deref().map(|note| remark_words().read(note))
    }

    fn texts(&self) -> impl Iterator<Item = &str> {
        [&self.method, &self.point, &self.note].into_iter().flatten().map(String::as_str)
    }

    /// Is one of the table's words of this name in what the entry says in words: method, point, note?
    #[must_use]
    pub fn speaks_of(&self, words: &str) -> bool {
        self.texts().any(|text| remark_words().has(words, text))
    }

    /// As [`LayupEvent::speaks_of`], of what stands in its columns, the remark apart: a remark adds no worth.
    #[must_use]
    pub fn states_words(&self, words: &str) -> bool {
        let texts = [&self.method, &self.point].into_iter().flatten();
        texts.into_iter().any(|text| remark_words().has(words, text))
    }

    /// Is one of these (in small letters) in what the entry says in words: method, point, note?
    #[must_use]
    pub fn mentions(&self, words: &[&str]) -> bool {
        let texts = [&self.method, &self.point, &self.note].into_iter().flatten();
        let mut texts = texts.map(|text| text.to_lowercase());
        texts.any(|text| words.iter().any(|word| text.contains(word)))
    }

    /// As [`LayupEvent::mentions`], of what the entry states in its columns, the remark apart: a remark adds no worth.
    #[must_use]
    pub fn states(&self, words: &[&str]) -> bool {
        let mut texts = [&self.method, &self.point].into_iter().flatten();
        texts.any(|text| words.iter().any(|word| text.to_lowercase().contains(word)))
    }

    /// Does a look or an answer say that something is broken?
    #[must_use]
    pub fn mentions_damage(&self) -> bool {
        // One thing that is sound says nothing of the next.
        self.texts().any(|text| remark_words().has_apart_from("damage", "no_damage", text))
    }

    /// Does the remark, or the way that is stated, deny what the entry says?
    #[must_use]
    pub fn is_denied(&self) -> bool {
        self.speaks_of("denied")
    }

    /// As [`LayupEvent::mentions`], of the point alone.
    #[must_use]
    pub fn mentions_in_point(&self, words: &[&str]) -> bool {
        let point = self.point.as_deref().unwrap_or_default().to_lowercase();
        words.iter().any(|word| point.contains(word))
    }

    /// What tells that two entries used the same jugs: fluid, label and sheet.
    pub(super) fn of_the_jug(&self) -> [Option<String>; 3] {
        [self.fluid.clone(), self.label.clone(), self.sheet.clone()]
    }

    /// As [`LayupEvent::speaks_of`], of the point alone.
    #[must_use]
    pub fn points_to(&self, words: &str) -> bool {
        self.point.as_deref().is_some_and(|point| remark_words().has(words, point))
    }

    /// As a correction: does it withdraw the entry as a whole? By its method; by its remark only where it carries nothing else.
    #[must_use]
    pub fn withdraws(&self) -> bool {
        let void = |text: &Option<String>| {
            let words = remark_words();
            text.as_deref()
                .is_some_and(|text| words.says("void", text) && !words.says("not_void", text))
        };
        void(&self.method) || void(&self.note) && !self.carries_a_field()
    }

    /// As a correction: does it change a field of what it corrects, the remark apart?
    #[must_use]
    pub fn carries_a_field(&self) -> bool {
        let bare = Self { note: None, point: None, ..self.clone() };
        let mut probe = Self::blank(
            self.id.clone(),
            String::new(),
            DateTime::UNIX_EPOCH.into(),
            Evidence::None,
        );
        let untouched = probe.clone();
        probe.take_over(&bare);
        let point = self.point.is_some() && self.corrects.is_some();
        probe != untouched || point
    }

    /// As a correction: another time than that of writing it down, which its entry is moved to.
    #[must_use]
    pub fn moves_to(&self) -> Option<DateTime<Utc>> {
        (self.happened_at != self.recorded_at).then_some(self.happened_at)
    }

    /// An entry that says no more than what happened, when and on whose word: known to the minute, learned of at once,
    /// every other column blank.
    #[must_use]
    pub fn blank(
        id: EventId,
        kind: String,
        happened: DateTime<FixedOffset>,
        evidence: Evidence,
    ) -> Self {
        Self {
            id,
            happened_at: happened.to_utc(),
            happened_offset_s: happened.offset().local_minus_utc(),
            precision: Precision::Minute,
            recorded_at: happened.to_utc(),
            boat: None,
            site: None,
            kind,
            circuits: Vec::new(),
            instance: None,
            point: None,
            fluid: None,
            label: None,
            method: None,
            thermostat_open: None,
            litres_in: None,
            litres_out: None,
            reading_value: None,
            reading_unit: None,
            scale: None,
            minutes: None,
            percent: None,
            volts: None,
            probed: None,
            who: None,
            role: None,
            evidence,
            sheet: None,
            corrects: None,
            note: None,
        }
    }
}

/// Does a correction withdraw `old`, or change a field of it? One that does neither would stand in the log and mean nothing.
#[must_use]
pub fn corrects_something(correction: &LayupEvent, old: &LayupEvent) -> bool {
    let mut after = old.clone();
    after.take_over(correction);
    if correction.corrects.is_none() {
        // Then the id stands in `point`.
        after.point.clone_from(&old.point);
    }
    after.move_with(correction);
    correction.withdraws() || after != *old
}
