//! The facts of the trade as tables in `config/catalogue`, compiled in, each row with its source.
//!
//! Code interprets these rows and holds none of their numbers or words itself.

pub mod aboard;
pub mod circuit;
pub mod cooling;
pub mod day_sheet;
pub mod deed;
pub mod entry_word;
mod error;
pub mod event_kind;
pub mod fitout;
mod in_words;
pub mod limits;
pub mod nearest;
pub mod product;
pub mod reason;
pub mod remark;
pub mod synonym;
pub(crate) mod table;
pub mod tick_word;
pub mod words;

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use serde::Deserialize;

pub use circuit::{AfterColdRun, Alarms, CircuitKind, WhenFull};
pub use cooling::{Cooling, FittingWord};
pub use day_sheet::{DayStep, MixRatios};
pub use deed::{Deed, DeedBoat, DeedCase, Deeds, Doer};
pub use entry_word::NotAKind;
pub use error::CatalogueError;
pub use event_kind::{EffectKind, EventClass, EventKind, PlaceEffect, WaterSource};
pub use fitout::{Fitout, GuessedFitout};
pub use limits::TradeLimits;
pub use nearest::nearest;
pub use product::{Product, ProductFluid};
pub use reason::{Reason, Reasons};
pub use remark::{Remark, Says, remark_words};
pub use synonym::Synonym;
pub use tick_word::TickMeaning;
pub(crate) use words::identifier;
pub use words::{
    CircuitId, CircuitSet, Confinement, Consequence, CoolingKind, Evidence, Holds, PartExposure,
    SpeedClass,
};

#[derive(Deserialize)]
struct ActionRow {
    key: String,
    words: String,
    #[serde(rename = "source")]
    _source: String,
}

/// FNV-1a, 64 bits (Fowler, Noll, Vo): quick for the short ids of our own tables, which nobody can choose to collide.
#[derive(Debug, Clone, Default)]
struct ShortIdHasher(u64);

impl Hasher for ShortIdHasher {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        let start = if self.0 == 0 { 0xCBF2_9CE4_8422_2325 } else { self.0 };
        self.0 = bytes
            .iter()
            .fold(start, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01B3));
    }
}

type ById<K, V> = HashMap<K, V, BuildHasherDefault<ShortIdHasher>>;

fn fingerprint() -> u64 {
    let mut hasher = ShortIdHasher::default();
    for table in [
        include_str!("../../config/catalogue/circuits.csv"),
        include_str!("../../config/catalogue/events.csv"),
        include_str!("../../config/catalogue/products.csv"),
        include_str!("../../config/catalogue/limits.csv"),
        include_str!("../../config/catalogue/reasons.csv"),
        include_str!("../../config/catalogue/remark_words.csv"),
        include_str!("../../config/catalogue/fitouts.csv"),
        include_str!("../../config/catalogue/cooling.csv"),
        include_str!("../../config/catalogue/cooling_words.csv"),
        include_str!("../../config/catalogue/fitting_words.csv"),
    ] {
        hasher.write(table.as_bytes());
    }
    hasher.finish()
}

/// A circuit or a group, looked up by its id.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Named {
    /// Its circuits.
    pub set: CircuitSet,
    /// The place in the table, where it is a single circuit.
    pub place: Option<u8>,
}

/// All tables of the trade, checked against each other.
#[derive(Debug, Clone)]
pub struct Catalogue {
    circuits: Vec<CircuitKind>,
    names: ById<CircuitId, Named>,
    events: Vec<EventKind>,
    event_places: ById<String, usize>,
    fingerprint: u64,
    engine_loop: Option<u8>,
    engine_coil: Option<u8>,
    water_heater: Option<u8>,
    products: Vec<Product>,
    fitouts: Vec<Fitout>,
    fitout_words: Vec<fitout::FitoutWord>,
    coolings: cooling::CoolingTables,
    synonyms: Vec<Synonym>,
    entry_words: Vec<entry_word::EntryWord>,
    /// What circuits each wording means, made once of ids, labels and entry words.
    worded: HashMap<String, Vec<CircuitId>>,
    tick_words: Vec<tick_word::TickWord>,
    day_sheet: Vec<DayStep>,
    mix_ratios: MixRatios,
    actions: HashMap<String, String>,
    reasons: Reasons,
    limits: TradeLimits,
}

impl Catalogue {
    /// The tables compiled into the program.
    ///
    /// # Errors
    /// [`CatalogueError`] names table and line; the tests make sure that this does not happen to a built program.
    pub fn built_in() -> Result<Self, CatalogueError> {
        let circuits = circuit::parse(include_str!("../../config/catalogue/circuits.csv"))?;
        let mut names: ById<CircuitId, Named> = HashMap::default();
        let empty = Named { set: CircuitSet::EMPTY, place: None };
        for (place, kind) in (0_u8..).zip(&circuits) {
            let name = names.entry(kind.id.clone()).or_insert(empty);
            name.place = Some(place);
            name.set.insert(place);
            for group in kind.groups() {
                names.entry(CircuitId::from(group)).or_insert(empty).set.insert(place);
            }
        }
        let place = |id: &str| names.get(&CircuitId::from(id)).and_then(|name| name.place);
        let group = |id: &CircuitId| names.get(id).map(|name| name.set);
        let coolings = cooling::CoolingTables::built_in(group)?;
        let events = event_kind::parse(include_str!("../../config/catalogue/events.csv"), group)?;
        let event_places =
            events.iter().enumerate().map(|(place, kind)| (kind.id.clone(), place)).collect();
        let actions = table::rows::<ActionRow>(
            "actions.csv",
            include_str!("../../config/catalogue/actions.csv"),
        )?
        .into_iter()
        .map(|(_, row)| (row.key, row.words))
        .collect();
        let catalogue = Self {
            fingerprint: fingerprint(),
            engine_loop: place("closed_loop"),
            engine_coil: place("engine_coil"),
            water_heater: place("water_heater"),
            coolings,
            names,
            event_places,
            actions,
            day_sheet: day_sheet::parse(include_str!("../../config/catalogue/day_sheet.csv"))?,
            mix_ratios: day_sheet::parse_ratios(include_str!(
                "../../config/catalogue/mix_ratios.csv"
            ))?,
            tick_words: tick_word::parse(include_str!("../../config/catalogue/tick_words.csv"))?,
            circuits,
            events,
            products: product::parse(include_str!("../../config/catalogue/products.csv"))?,
            fitouts: fitout::parse(include_str!("../../config/catalogue/fitouts.csv"))?,
            fitout_words: fitout::parse_words(include_str!(
                "../../config/catalogue/fitout_words.csv"
            ))?,
            synonyms: synonym::parse(include_str!("../../config/catalogue/synonyms.csv"))?,
            entry_words: entry_word::parse(include_str!("../../config/catalogue/entry_words.csv"))?,
            worded: HashMap::new(),
            reasons: reason::parse(include_str!("../../config/catalogue/reasons.csv"))?,
            limits: limits::parse(include_str!("../../config/catalogue/limits.csv"))?,
        };
        catalogue.check()
    }

    fn check(self) -> Result<Self, CatalogueError> {
        let problem = |table, what| Err(CatalogueError::Row { table, line: 0, what });
        if let Some(kind) =
            self.circuits.iter().find(|kind| !self.actions.contains_key(&kind.action))
        {
            return problem("circuits.csv", format!("{}: no action {}", kind.id, kind.action));
        }
        for fitout in &self.fitouts {
            if let Some(id) = fitout
                .always()
                .chain(fitout.often())
                .chain(fitout.not_by_plug())
                .find(|id| self.circuit(id).is_none())
            {
                return problem("fitouts.csv", format!("{}: no circuit {id}", fitout.kind));
            }
        }
        if let Some(synonym) = self
            .synonyms
            .iter()
            .find(|synonym| !synonym.event.is_empty() && self.event(&synonym.event).is_none())
        {
            return problem("synonyms.csv", format!("no event {}", synonym.event));
        }
        let wrong = |row: &entry_word::EntryWord| {
            row.circuits().find(|id| self.named(&CircuitId::from(*id)).is_none()).map(str::to_owned)
        };
        if let Some(id) = self.entry_words.iter().find_map(wrong) {
            return problem("entry_words.csv", format!("no circuit {id}"));
        }
        if let Some(what) = self.wrong_step() {
            return problem("day_sheet.csv", what);
        }
        Ok(Self { worded: self.wordings(), ..self })
    }

    /// The first step, in order, whose circuits cannot be found.
    fn wrong_step(&self) -> Option<String> {
        self.day_sheet().iter().find_map(|step| {
            let unknown = step.needs().find(|id| self.circuit(id).is_none())?;
            Some(format!("{}: no circuit {unknown}", step.key))
        })
    }

    /// The kind of circuit with this id.
    #[must_use]
    pub fn circuit(&self, id: &CircuitId) -> Option<&CircuitKind> {
        self.circuits.get(usize::from(self.place_of(id)?))
    }

    /// Every kind of circuit, in the order of the table.
    #[must_use]
    pub fn circuits(&self) -> &[CircuitKind] {
        &self.circuits
    }

    /// The place of a circuit in the table, by which [`CircuitSet`] knows it.
    #[must_use]
    pub fn place_of(&self, id: &CircuitId) -> Option<u8> {
        self.names.get(id)?.place
    }

    /// The circuits of a group such as `ENGINE_RAW`, or of one circuit's own id.
    #[must_use]
    pub fn group(&self, id: &CircuitId) -> Option<CircuitSet> {
        self.named(id).map(|name| name.set)
    }

    /// Changes when any of the tables that the fold reads does, for whoever keeps folded states.
    #[must_use]
    pub const fn fingerprint(&self) -> u64 {
        self.fingerprint
    }

    /// The circuit or group with this id.
    #[must_use]
    pub fn named(&self, id: &CircuitId) -> Option<Named> {
        self.names.get(id).copied()
    }

    /// The coil of the water heater that is on the engine's closed loop: the places of loop and coil.
    #[must_use]
    pub fn loop_and_coil(&self) -> Option<(u8, u8)> {
        self.engine_loop.zip(self.engine_coil)
    }

    /// The place of the water heater, which takes what is put through the taps unless it is out of the way.
    #[must_use]
    pub const fn water_heater(&self) -> Option<u8> {
        self.water_heater
    }

    /// Ids of all circuits and groups, for messages that name the nearest right one.
    pub fn circuit_words(&self) -> impl Iterator<Item = &str> {
        self.names.keys().map(CircuitId::as_str)
    }

    /// The kind of event with this id.
    #[must_use]
    pub fn event(&self, id: &str) -> Option<&EventKind> {
        self.events.get(*self.event_places.get(id)?)
    }

    /// Every kind of event, in the order of the table.
    #[must_use]
    pub fn events(&self) -> &[EventKind] {
        &self.events
    }

    /// The product that fluid and label words name; with no label, none.
    #[must_use]
    pub fn product(&self, fluid: &str, label: &str) -> Option<&Product> {
        self.products.iter().find(|product| product.has_fluid(fluid) && product.has_label(label))
    }

    /// Any product of this fluid, for what the fluid alone tells.
    #[must_use]
    pub fn product_of_fluid(&self, fluid: &str) -> Option<&Product> {
        self.products.iter().find(|product| product.has_fluid(fluid))
    }

    /// Every product.
    #[must_use]
    pub fn products(&self) -> &[Product] {
        &self.products
    }

    /// The default fit-out of a kind of boat.
    #[must_use]
    pub fn fitout(&self, kind: &str) -> Option<&Fitout> {
        self.fitouts.iter().find(|fitout| fitout.kind == kind)
    }

    /// Every fit-out.
    #[must_use]
    pub fn fitouts(&self) -> &[Fitout] {
        &self.fitouts
    }

    /// The circuits that an entry of this kind reaches when it lists none, in the order of the table.
    #[must_use]
    pub fn default_circuits(&self, kind: &str) -> Vec<CircuitId> {
        let set = self.event(kind).map_or(CircuitSet::EMPTY, |kind| kind.default_circuits);
        let named = self.circuits().iter().zip(0_u8..).filter(|(_, place)| set.contains(*place));
        named.map(|(kind, _)| kind.id.clone()).collect()
    }

    /// A guess from an engine text and a length in metres; says that it is one and asks one question.
    #[must_use]
    pub fn guess_fitout(&self, engine_text: &str, length_m: Option<f64>) -> Option<GuessedFitout> {
        fitout::guess((&self.fitouts, &self.fitout_words), engine_text, length_m)
    }

    /// What people's words mean: an event, or a question that must be answered first.
    #[must_use]
    pub fn synonym(&self, words: &str) -> Option<&Synonym> {
        self.synonyms.iter().find(|synonym| synonym.has(words))
    }

    fn entry_words(&self) -> &[entry_word::EntryWord] {
        &self.entry_words
    }

    /// The steps of a lay-up in a good order.
    #[must_use]
    pub fn day_sheet(&self) -> &[DayStep] {
        &self.day_sheet
    }

    /// The figures of the mixing table.
    #[must_use]
    pub const fn mix_ratios(&self) -> &MixRatios {
        &self.mix_ratios
    }

    fn tick_words(&self) -> &[tick_word::TickWord] {
        &self.tick_words
    }

    /// The words of an action key, such as `drain_by_maker_or_yard`.
    #[must_use]
    pub fn action(&self, key: &str) -> Option<&str> {
        self.actions.get(key).map(String::as_str)
    }

    /// The words of the fold's rules and questions.
    #[must_use]
    pub const fn reasons(&self) -> &Reasons {
        &self.reasons
    }

    /// The numbers of the trade that the fold uses.
    #[must_use]
    pub const fn limits(&self) -> &TradeLimits {
        &self.limits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_tables_fit_together() {
        let catalogue = Catalogue::built_in().unwrap();
        assert_eq!(catalogue.circuits().len(), 68);
        let raw = catalogue.group(&"ENGINE_RAW".into()).unwrap();
        let members = catalogue
            .circuits()
            .iter()
            .filter(|kind| raw.contains(catalogue.place_of(&kind.id).unwrap()));
        assert_eq!(members.count(), 10, "raw_pump to shaft_seal, by the trade notes");
    }

    #[test]
    fn parts_that_keep_the_sea_out_are_severe_afloat() {
        let catalogue = Catalogue::built_in().unwrap();
        for id in ["seacock", "strainer", "intake_hose", "scuppers", "shaft_seal", "ac_raw"] {
            let kind = catalogue.circuit(&id.into()).unwrap();
            assert_eq!(kind.consequence_when(true), Consequence::Severe, "{id}");
            assert_ne!(kind.consequence_when(false), Consequence::Severe, "{id}");
        }
    }

    #[test]
    fn a_boat_with_only_length_and_engine_text_gets_a_guess_that_says_so() {
        let catalogue = Catalogue::built_in().unwrap();
        let guess = catalogue.guess_fitout("2x5.7 I/O", Some(8.5)).unwrap();
        assert_eq!((guess.kind.as_str(), guess.engines), ("petrol_sterndrive", 2));
        assert!(guess.circuits.contains(&"block_raw".into()));
        assert!(guess.words.contains("guessed"), "{}", guess.words);
        assert!(guess.question.ends_with('?'));
        let dark = catalogue.guess_fitout("", None).unwrap();
        assert!(dark.circuits.contains(&"block_raw".into()), "unknown is wet");
    }

    #[test]
    fn a_guess_goes_by_whole_words_and_by_makers_of_one_kind_of_engine() {
        let catalogue = Catalogue::built_in().unwrap();
        for (text, kind) in [
            ("5.7IO", "petrol_sterndrive"),
            ("twin MerCruiser 6.2", "petrol_sterndrive"),
            ("Yanmar 3YM30", "diesel_cruiser"),
            ("Universal diesel sloop", "sail_shaft"),
            ("Volvo AD41 diesel sterndrive", "diesel_sterndrive"),
            ("5.7 GXi duoprop, freshwater cooled", "petrol_sterndrive_cruiser"),
            ("electric motor", "electric_inboard"),
            ("Yanmar 3YM30 saildrive", "sail_saildrive"),
            ("2 outboards", "outboard_runabout"),
            ("jet ski", "personal_watercraft"),
            // Not a word of its own: nothing is known, so it is the wetter guess.
            ("radio 4-cylinder", "unknown"),
            ("Bobcat conversion", "unknown"),
        ] {
            let guess = catalogue.guess_fitout(text, Some(9.0)).unwrap();
            assert_eq!(guess.kind, kind, "{text}");
        }
        for (text, part) in [
            ("tritoon 6.2 Mercruiser I/O", "block_raw"),
            ("center console, diesel inboard", "closed_loop"),
            ("fishing boat, 5.7 inboard", "block_raw"),
            ("inboard outboard 3.0", "block_raw"),
            ("Yamaha F150", "ob_cool"),
        ] {
            let guess = catalogue.guess_fitout(text, Some(9.0)).unwrap();
            assert!(guess.circuits.contains(&part.into()), "{text}: {:?}", guess.circuits);
        }
        assert_eq!(catalogue.guess_fitout("two Evinrude", None).unwrap().engines, 2);
        let guess = catalogue.guess_fitout("2 x Cummins QSB, genset", Some(12.0)).unwrap();
        assert_eq!((guess.kind.as_str(), guess.engines), ("diesel_cruiser", 2));
        assert!(guess.circuits.contains(&"gen_raw".into()));
    }

    #[test]
    fn a_dangerous_word_is_asked_about() {
        let catalogue = Catalogue::built_in().unwrap();
        let flushed = catalogue.synonym("Flushed").unwrap();
        assert!(flushed.event.is_empty() && flushed.ask.contains("fresh water"));
        assert_eq!(catalogue.synonym("splash").unwrap().event, "launched");
    }
}
