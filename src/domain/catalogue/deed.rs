//! What may be asked about a part, by what it holds and where she is: a wrong request sinks a boat or lets her coolant go.

use serde::Deserialize;

use super::table::{list, rows};
use super::{CatalogueError, CircuitId, CoolingKind, Holds};

const TABLE: &str = "deeds.csv";
const PARTS: &str = "deed_parts.csv";

/// The least qualified who may be asked to do it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doer {
    /// The owner.
    Owner,
    /// Who works on boats for a living.
    #[default]
    Yard,
}

/// Where the boat is, for what is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Place {
    Afloat,
    Ashore,
}

/// Does opening a part afloat let the sea in?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Waterline {
    Below,
    Above,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Frozen {
    Yes,
    No,
}

/// One deed: its words for each reader, and what it is for.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
pub struct Deed {
    /// Its name in the table.
    pub id: String,
    kinds: String,
    holds: String,
    place: Option<Place>,
    waterline: Option<Waterline>,
    frozen: Option<Frozen>,
    /// The least who may do it.
    pub who: Doer,
    owner_words: String,
    yard_words: String,
    owner_subject: String,
    yard_subject: String,
    /// What stands before the parts in a list for the yard.
    pub list_words: String,
    /// What to look at until somebody has come; empty but for parts that are not to be touched afloat.
    pub look: String,
    source: String,
}

impl Deed {
    /// The request, with `{parts}` and `{yard}` still in it.
    #[must_use]
    pub fn words(&self, to_owner: bool) -> &str {
        if to_owner { &self.owner_words } else { &self.yard_words }
    }

    /// The request for a subject, with `{object}` still in it.
    #[must_use]
    pub fn subject(&self, to_owner: bool) -> String {
        self.subject_form(to_owner).replace('|', "")
    }

    /// The same, shorter.
    #[must_use]
    pub fn short_subject(&self, to_owner: bool) -> &str {
        let form = self.subject_form(to_owner);
        form.split('|').next().unwrap_or(form)
    }

    fn subject_form(&self, to_owner: bool) -> &str {
        if to_owner { &self.owner_subject } else { &self.yard_subject }
    }

    /// Is it not to be touched where she is, only called about?
    #[must_use]
    pub const fn is_hands_off(&self) -> bool {
        !self.look.is_empty()
    }

    fn fits(&self, kind: &str, case: &DeedCase) -> bool {
        let in_list = |keys: &str, key: &str| keys.is_empty() || list(keys).any(|one| one == key);
        let place = if case.afloat { Place::Afloat } else { Place::Ashore };
        let waterline = if case.below { Waterline::Below } else { Waterline::Above };
        let frozen = if case.frozen { Frozen::Yes } else { Frozen::No };
        in_list(&self.kinds, kind)
            && in_list(&self.holds, case.holds.as_str())
            && self.place.is_none_or(|known| known == place)
            && self.waterline.is_none_or(|known| known == waterline)
            && self.frozen.is_none_or(|known| known == frozen)
    }

    fn is_whole(&self) -> bool {
        let words = [&self.owner_words, &self.yard_words, &self.owner_subject];
        let rest = [&self.yard_subject, &self.list_words, &self.source];
        words.into_iter().chain(rest).all(|text| !text.is_empty())
    }

    fn fits_all(&self) -> bool {
        let keys = self.place.is_some() || self.waterline.is_some() || self.frozen.is_some();
        self.kinds.is_empty() && self.holds.is_empty() && !keys
    }
}

/// The state of a part that decides what is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DeedCase {
    /// What it holds.
    pub holds: Holds,
    /// She floats, or nobody has entered that she does not.
    pub afloat: bool,
    /// Opening it afloat lets the sea in.
    pub below: bool,
    /// It is past its limit, seen or by reckoning.
    pub frozen: bool,
}

/// The boat around a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DeedBoat {
    /// She floats, or nobody has entered that she does not.
    pub afloat: bool,
    /// How her engine is cooled; `None` while nobody has said.
    pub cooling: Option<CoolingKind>,
}

/// Of which sort a circuit is.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
struct PartRow {
    circuit: CircuitId,
    kind: String,
    kind_closed: String,
    kind_unclear: String,
    waterline: Waterline,
    source: String,
}

impl PartRow {
    /// Its sort on such an engine, and whether it lies below the waterline.
    fn on(&self, cooling: Option<CoolingKind>) -> (&str, bool) {
        let below = self.waterline == Waterline::Below;
        match cooling {
            None if !self.kind_unclear.is_empty() => (&self.kind_unclear, below),
            Some(CoolingKind::ClosedHalf | CoolingKind::ClosedFull)
                if !self.kind_closed.is_empty() =>
            {
                (&self.kind_closed, below && self.kind_closed != "loop")
            }
            _ => (&self.kind, below),
        }
    }
}

/// The table of deeds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Deeds {
    parts: Vec<PartRow>,
    rows: Vec<Deed>,
    last: Deed,
}

impl Deeds {
    /// The table that is compiled in.
    pub const TEXT: &str = include_str!("../../../config/catalogue/deeds.csv");

    /// The tables compiled into the program.
    ///
    /// # Errors
    /// As [`Deeds::parse`]; a test keeps it from happening.
    pub fn built_in() -> Result<Self, CatalogueError> {
        Self::parse(Self::TEXT)
    }

    /// Reads a table of deeds for the circuits that are compiled in.
    ///
    /// # Errors
    /// [`CatalogueError`] where a row lacks words or a source, or the last one does not fit everything.
    pub fn parse(text: &str) -> Result<Self, CatalogueError> {
        let parts = include_str!("../../../config/catalogue/deed_parts.csv");
        let parts = rows::<PartRow>(PARTS, parts)?.into_iter().map(|(_, row)| row).collect();
        let problem =
            |line, what: &str| CatalogueError::Row { table: TABLE, line, what: what.into() };
        let rows = rows::<Deed>(TABLE, text)?;
        if let Some((line, _)) = rows.iter().find(|(_, deed)| !deed.is_whole()) {
            return Err(problem(*line, "words for a reader or a source are missing"));
        }
        let rows: Vec<Deed> = rows.into_iter().map(|(_, deed)| deed).collect();
        let last = rows.last().filter(|deed| deed.fits_all()).cloned();
        let last = last.ok_or_else(|| problem(0, "the last row has to fit every part"))?;
        Ok(Self { parts, rows, last })
    }

    /// What is asked about a circuit. One that is not in the table counts as below the waterline, and is asked about.
    #[must_use]
    pub fn of(&self, circuit: &CircuitId, holds: Holds, boat: DeedBoat, frozen: bool) -> &Deed {
        let row = self.parts.iter().find(|row| row.circuit == *circuit);
        let (kind, below) = row.map_or(("", true), |row| row.on(boat.cooling));
        self.pick(kind, &DeedCase { holds, afloat: boat.afloat, below, frozen })
    }

    /// What is asked about a part of this sort.
    #[must_use]
    pub fn pick(&self, kind: &str, case: &DeedCase) -> &Deed {
        self.rows.iter().find(|deed| deed.fits(kind, case)).unwrap_or(&self.last)
    }

    /// Is this circuit in the table?
    #[must_use]
    pub fn knows(&self, circuit: &CircuitId) -> bool {
        self.parts.iter().any(|row| row.circuit == *circuit && !row.source.is_empty())
    }

    /// Every sort of part.
    pub fn kinds(&self) -> impl Iterator<Item = &str> {
        self.parts
            .iter()
            .flat_map(|row| [&row.kind, &row.kind_closed, &row.kind_unclear])
            .map(String::as_str)
            .filter(|kind| !kind.is_empty())
    }
}
