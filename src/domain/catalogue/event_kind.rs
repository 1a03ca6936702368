//! The kinds of lay-up event and what each does, as data: the fold only interprets these rows.

use serde::{Deserialize, Deserializer};

use super::table::{list, rows};
use super::{CatalogueError, CircuitId, CircuitSet, Evidence, Holds, Reason};

const TABLE: &str = "events.csv";

/// Which side an event is on; with the hour unknown, undoing is taken last on its day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventClass {
    /// Puts something against frost, or shows that it is there.
    Protecting,
    /// Brings water, or ends what was known.
    Undoing,
    /// Says something, moves the boat, switches something.
    Neutral,
}

/// What an event does to the circuits that it reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EffectKind {
    /// Nothing.
    None,
    /// They hold what the row says.
    Set,
    /// They hold water of the source.
    Water,
    /// They hold antifreeze by its label, where it can have got in.
    Blend,
    /// A reading of a blend.
    Reading,
    /// A reading of a coolant.
    LoopReading,
    /// What was known is known no more.
    Lose,
    /// Drained, with minutes, litres and probing to check.
    Drain,
    /// Drains left open.
    ConfirmDrained,
    /// Gear oil changed, clear or milky.
    GearOil,
    /// Volts of a battery.
    Volts,
    /// Somebody looked.
    Inspect,
    /// Ice was seen.
    Ice,
    /// Damage was seen.
    Damage,
    /// A question was answered.
    Clear,
    /// A seacock was opened: drains ashore, fills afloat.
    SeacockOpen,
}

/// Where the water of an undoing event comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WaterSource {
    /// Always fresh.
    Fresh,
    /// What the boat floats in.
    Ambient,
    /// What the entry says, else what it floats in.
    Method,
}

/// What an event says of where the boat is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceEffect {
    /// Out of the water.
    Ashore,
    /// In the water.
    Afloat,
    /// At another place.
    Moved,
    /// Under a cover.
    Covered,
    /// Without its cover.
    Uncovered,
}

/// Particular habits of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EventFlags {
    /// A run: mixes loops; in spring it ends last year's sheet for what it reaches.
    pub run: bool,
    /// Ends last year's sheet.
    pub ends_sheet: bool,
    /// Puts the boat back in use: what is left of the winter's work is claimed at most.
    pub recommissions: bool,
    /// A later test counts only after a run.
    pub mix_first: bool,
    /// Goes through the taps: the heater must be out of the way first.
    pub taps: bool,
    /// A dose that wants the tank emptied first.
    pub after_emptying: bool,
    /// The battery stands without load.
    pub load_off: bool,
    /// The battery stands under load.
    pub load_on: bool,
    /// Opens the strainer.
    pub opens_strainer: bool,
    /// Shuts a seacock.
    pub shuts_seacock: bool,
    /// Opens a seacock.
    pub opens_seacock: bool,
    /// Leaves an oil film in the cylinders, which a later run burns off.
    pub fogs: bool,
    /// Fills the house water.
    pub fills_house: bool,
    /// Takes the battery off what it feeds.
    pub off_board: bool,
    /// Asks the owner.
    pub asks: bool,
    /// The owner's answer.
    pub answers: bool,
    /// A sample from the part's own drain.
    pub own_drain: bool,
    /// A signature, or a word that is worth no more.
    pub signs: bool,
}

/// One row of the event table.
#[derive(Debug, Clone, PartialEq)]
pub struct EventKind {
    /// Its id, such as `engine_run`.
    pub id: String,
    /// What people call it.
    pub label: String,
    /// Which side it is on.
    pub class: EventClass,
    /// What it does.
    pub effect: EffectKind,
    /// What the circuits hold after it.
    pub sets: Option<Holds>,
    /// Circuits that a row without a list reaches.
    pub default_circuits: CircuitSet,
    /// Circuits that it always reaches.
    pub always_reaches: CircuitSet,
    /// The only circuits for which such an entry can show anything; `None`: any.
    pub may_reach: Option<CircuitSet>,
    /// Whether it always reaches the whole path of a run.
    pub reaches_run_path: bool,
    /// Where its water comes from.
    pub water: Option<WaterSource>,
    /// The best grade that such an entry can have.
    pub evidence_cap: Evidence,
    /// What it says of where the boat is.
    pub place: Option<PlaceEffect>,
    /// What it switches (`heat`, `deicer`, `charger`, `power`) and to what.
    pub mitigation: Option<(String, bool)>,
    /// Particular habits.
    pub flags: EventFlags,
    /// The question that it leaves open.
    pub question: Option<Reason>,
    /// How the fold tells it, with `{water}`, `{label}`, `{reading}` and the like still in.
    pub because: String,
    /// Where this comes from.
    pub source: String,
}

impl EventKind {
    /// Can it be entered for a whole place? What is switched there, questions to all, the end of the season, a remark.
    #[must_use]
    pub fn may_be_of_a_place(&self) -> bool {
        let flags = self.flags;
        let remark = self.effect == EffectKind::None
            && self.place.is_none()
            && self.default_circuits.is_empty()
            && !flags.signs;
        self.mitigation.is_some() || flags.asks || flags.answers || flags.ends_sheet || remark
    }

    /// Does it say something of parts that the entry itself must name?
    #[must_use]
    pub fn wants_parts(&self) -> bool {
        let acts = matches!(
            self.effect,
            EffectKind::Set | EffectKind::Drain | EffectKind::Blend | EffectKind::ConfirmDrained
        );
        let by_itself = !self.default_circuits.is_empty() || !self.always_reaches.is_empty();
        acts && !by_itself && !self.reaches_run_path
    }
}

#[derive(Deserialize)]
struct Row {
    id: String,
    label: String,
    class: EventClass,
    effect: EffectKind,
    #[serde(deserialize_with = "blank_is_none")]
    sets: Option<Holds>,
    default_circuits: String,
    always_reaches: String,
    may_reach: String,
    water: String,
    evidence_cap: Evidence,
    place: String,
    mitigation: String,
    flags: String,
    question: String,
    because: String,
    source: String,
}

fn blank_is_none<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Holds>, D::Error> {
    let word = String::deserialize(from)?;
    if word.is_empty() {
        return Ok(None);
    }
    Holds::deserialize(serde::de::value::StrDeserializer::<D::Error>::new(&word)).map(Some)
}

/// Reads the event table. `group` resolves a circuit or a group to its set.
pub(crate) fn parse(
    text: &str,
    group: impl Fn(&CircuitId) -> Option<CircuitSet>,
) -> Result<Vec<EventKind>, CatalogueError> {
    let mut kinds: Vec<EventKind> = Vec::new();
    for (line, row) in rows::<Row>(TABLE, text)? {
        let kind =
            build(row, &group).map_err(|what| CatalogueError::Row { table: TABLE, line, what })?;
        if kinds.iter().any(|known| known.id == kind.id) {
            return Err(CatalogueError::Row {
                table: TABLE,
                line,
                what: format!("the event {} stands twice", kind.id),
            });
        }
        kinds.push(kind);
    }
    Ok(kinds)
}

fn build(row: Row, group: &impl Fn(&CircuitId) -> Option<CircuitSet>) -> Result<EventKind, String> {
    let set = |text: &str| {
        list(text).filter(|part| *part != "RUN_PATH").try_fold(CircuitSet::EMPTY, |set, part| {
            group(&CircuitId::from(part))
                .map(|more| set.union(more))
                .ok_or_else(|| format!("{part} is neither a circuit nor a group"))
        })
    };
    let question = match row.question.as_str() {
        "" => None,
        key => Some(Reason::from_key(key).ok_or_else(|| format!("no reason is called {key}"))?),
    };
    Ok(EventKind {
        default_circuits: set(&row.default_circuits)?,
        always_reaches: set(&row.always_reaches)?,
        may_reach: match row.may_reach.strip_prefix('-') {
            Some(but) => Some(CircuitSet::ALL.without(set(but)?)),
            None if row.may_reach.is_empty() => None,
            None => Some(set(&row.may_reach)?),
        },
        reaches_run_path: list(&row.always_reaches).any(|part| part == "RUN_PATH"),
        water: water(&row.water)?,
        place: place(&row.place)?,
        mitigation: mitigation(&row.mitigation)?,
        flags: flags(&row.flags)?,
        question,
        id: row.id,
        label: row.label,
        class: row.class,
        effect: row.effect,
        sets: row.sets,
        evidence_cap: row.evidence_cap,
        because: row.because,
        source: row.source,
    })
}

fn water(word: &str) -> Result<Option<WaterSource>, String> {
    Ok(Some(match word {
        "" => return Ok(None),
        "fresh" => WaterSource::Fresh,
        "ambient" => WaterSource::Ambient,
        "method" => WaterSource::Method,
        other => return Err(format!("water is fresh, ambient or method, not {other}")),
    }))
}

fn place(word: &str) -> Result<Option<PlaceEffect>, String> {
    Ok(Some(match word {
        "" => return Ok(None),
        "ashore" => PlaceEffect::Ashore,
        "afloat" => PlaceEffect::Afloat,
        "moved" => PlaceEffect::Moved,
        "covered" => PlaceEffect::Covered,
        "uncovered" => PlaceEffect::Uncovered,
        other => return Err(format!("{other} is no word for a place")),
    }))
}

fn mitigation(word: &str) -> Result<Option<(String, bool)>, String> {
    match word.split_once(':') {
        None if word.is_empty() => Ok(None),
        Some((kind, "on")) => Ok(Some((kind.to_owned(), true))),
        Some((kind, "off")) => Ok(Some((kind.to_owned(), false))),
        _ => Err(format!("a mitigation is kind:on or kind:off, not {word}")),
    }
}

fn flags(words: &str) -> Result<EventFlags, String> {
    let mut flags = EventFlags::default();
    for word in list(words) {
        match word {
            "run" => flags.run = true,
            "ends_sheet" => flags.ends_sheet = true,
            "recommissions" => flags.recommissions = true,
            "mix_first" => flags.mix_first = true,
            "taps" => flags.taps = true,
            "after_emptying" => flags.after_emptying = true,
            "load_off" => flags.load_off = true,
            "load_on" => flags.load_on = true,
            "opens_strainer" => flags.opens_strainer = true,
            "shuts_seacock" => flags.shuts_seacock = true,
            "opens_seacock" => flags.opens_seacock = true,
            "fogs" => flags.fogs = true,
            "fills_house" => flags.fills_house = true,
            "off_board" => flags.off_board = true,
            "asks" => flags.asks = true,
            "answers" => flags.answers = true,
            "own_drain" => flags.own_drain = true,
            "signs" => flags.signs = true,
            other => return Err(format!("no flag is called {other}")),
        }
    }
    Ok(flags)
}
