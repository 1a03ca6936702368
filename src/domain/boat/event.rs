//! One entry of the lay-up log.

use chrono::{DateTime, FixedOffset, Utc};
use serde::{Deserialize, Serialize};

use super::{BoatId, CircuitId, Evidence, SiteId, identifier};

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

/// Words in `method` of a correction that withdraw what it corrects.
const VOID: [&str; 9] = [
    "void",
    "voided",
    "withdraw",
    "withdrawn",
    "cancel",
    "cancelled",
    "canceled",
    "delete",
    "deleted",
];

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

    /// As an entry about gear oil: what it says of the old oil, if anything.
    #[must_use]
    pub fn oil_seen(&self) -> Option<OldOil> {
        let method = self.method.as_deref()?.to_lowercase();
        let has = |words: &[&str]| words.iter().any(|word| method.contains(word));
        if has(&["no water"]) {
            Some(OldOil::Clear)
        } else if has(&["milky", "water", "cloudy", "emulsion"]) {
            Some(OldOil::Wet)
        } else {
            has(&["clear"]).then_some(OldOil::Clear)
        }
    }

    /// Is one of these (in small letters) in what the entry says in words: method, point, note?
    #[must_use]
    pub fn mentions(&self, words: &[&str]) -> bool {
        let texts = [&self.method, &self.point, &self.note].into_iter().flatten();
        let mut texts = texts.map(|text| text.to_lowercase());
        texts.any(|text| words.iter().any(|word| text.contains(word)))
    }

    /// As [`LayupEvent::mentions`], once the phrases of `none` (that deny such a word) are taken out.
    fn mentions_apart_from(&self, words: &[&str], none: &[&str]) -> bool {
        let texts = [&self.method, &self.point, &self.note].into_iter().flatten();
        texts.map(|text| text.to_lowercase()).any(|text| {
            let rest = none.iter().fold(text, |text, none| text.replace(none, ""));
            words.iter().any(|word| rest.contains(word))
        })
    }

    /// Does a look or an answer say that something is broken?
    #[must_use]
    pub fn mentions_damage(&self) -> bool {
        const NONE: [&str; 12] = [
            "no cracks",
            "no crack",
            "not cracked",
            "no damage",
            "undamaged",
            "not damaged",
            "no leaks",
            "no leak",
            "not leaking",
            "nothing broken",
            "not frozen",
            "no ice",
        ];
        const WORDS: [&str; 15] = [
            "crack",
            "damage",
            "leak",
            "broken",
            "split",
            "hairline",
            "burst",
            "weep",
            "bulg",
            "seized",
            "fissure",
            "frozen",
            "ice still",
            "pushed out",
            "core plug out",
        ];
        // One thing that is sound says nothing of the next.
        self.mentions_apart_from(&WORDS, &NONE)
    }

    /// Does the remark, or the way that is stated, deny what the entry says?
    #[must_use]
    pub fn is_denied(&self) -> bool {
        const WORDS: [&str; 16] = [
            "not done",
            "to be drained",
            "to be done",
            "to do",
            "nothing came out",
            "ran out of time",
            "tried to",
            "water still in",
            "still full",
            "snapped off",
            "will do",
            "tomorrow",
            "1 of 2 done",
            "did not drain",
            "could not drain",
            "watered down",
        ];
        self.mentions(&WORDS)
    }

    /// Does the remark tell of a run of the engine, that was made and not only spoken of?
    #[must_use]
    pub fn tells_of_a_run(&self) -> bool {
        const RAN: [&str; 17] = [
            "ran the engine",
            "ran engine",
            "ran both engines",
            "ran it on",
            "ran her on",
            "engine ran",
            "engine run",
            "engines run",
            "engine running",
            "engine was running",
            "engine idling",
            "run on the hose",
            "run on the muffs",
            "under own power",
            "under her own power",
            "started the engine",
            "engine started",
        ];
        const NONE: [&str; 13] = [
            "no engine run",
            "without engine run",
            "without the engine run",
            "before engine run",
            "before the engine run",
            "not run on",
            "not be run on",
            "not been run on",
            "never run on",
            "never ran",
            "engine run needed",
            "engine run to be",
            "engine run will",
        ];
        // One run that was not made says nothing of another that was.
        self.mentions_apart_from(&RAN, &NONE)
    }

    /// As [`LayupEvent::mentions`], of the point alone.
    #[must_use]
    pub fn mentions_in_point(&self, words: &[&str]) -> bool {
        let point = self.point.as_deref().unwrap_or_default().to_lowercase();
        words.iter().any(|word| point.contains(word))
    }

    /// As a correction: does it withdraw the entry as a whole?
    #[must_use]
    pub fn withdraws(&self) -> bool {
        self.method
            .as_deref()
            .is_some_and(|method| VOID.iter().any(|word| method.trim().eq_ignore_ascii_case(word)))
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
