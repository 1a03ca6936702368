//! Boats: their circuits, the append-only lay-up log, and the fold from that log to what is in each circuit and why.

pub mod doubt;
pub mod event;
pub mod exposure;
pub mod fitted;
pub mod fold;
pub mod mark;
pub mod place;
pub mod revise;
pub mod state;
pub mod stay;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::domain::catalogue::identifier;
pub use crate::domain::catalogue::{CircuitId, CoolingKind, Evidence, Holds};
pub use doubt::doubts;
pub use event::{EventId, LayupEvent, Precision, corrects_something};
pub use exposure::{Exposure, Spells, uncleared};
pub use fold::{fold, heat_of_place};
pub use mark::{Fitting, Mark};
pub use place::{PlaceFacts, Places};
pub use revise::{Erased, Fate, Revision, TAKEN_BACK, newest_version, revise};
pub use state::{BoatState, CircuitState, Mitigation};
pub use stay::{HeatTurn, Stay};

identifier!(
    /// A boat, as the yard numbers it, such as `B02`.
    BoatId
);
identifier!(
    /// A storage place, such as `QUAY`.
    SiteId
);
identifier!(
    /// A person, such as `P51`. Events and alerts carry these, never names.
    PersonId
);

/// Who is told first about a boat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Care {
    /// The yard looks after it.
    #[default]
    Yard,
    /// The owner looks after it.
    Owner,
    /// Both do.
    Shared,
}

/// Whether the yard may drain the boat without asking.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DrainPermission {
    /// Standing permission.
    Yes,
    /// Refused: ask first.
    No,
    /// Nothing to ask (the owner works alone).
    NotApplicable,
    /// Not said.
    #[default]
    Unknown,
}

/// A boat as the yard's list describes it. People stand here only by id.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Boat {
    /// The yard's number.
    pub id: BoatId,
    /// Its name, as people call it.
    pub name: String,
    /// Kind of boat, a row of the fit-out catalogue, such as `petrol_sterndrive`.
    pub kind: String,
    /// How the engine is cooled.
    pub cooling: CoolingKind,
    /// Fuel in words: `petrol`, `diesel`.
    pub fuel: String,
    /// Number of engines.
    pub engines: u8,
    /// Where the list says it is stored; the log may have moved it since.
    pub site: SiteId,
    /// Hull number as written; its last two digits are the model year (33 CFR 181.25).
    pub hull_id: String,
    /// Length over all in metres.
    pub length_m: Option<f64>,
    /// Row, bay or berth.
    pub location: String,
    /// The owner.
    pub owner: Option<PersonId>,
    /// Who is told first.
    pub care: Care,
    /// May the yard drain it?
    pub drain_permission: DrainPermission,
    /// Where its key hangs, as written; never in mail or print, where [`Boat::key_code`] stands for it.
    #[serde(default)]
    pub keys: String,
    /// Circuits that the boat really has.
    pub fitted: Vec<CircuitId>,
    /// On whose word each of them stands there.
    #[serde(default)]
    pub fitting: Fitting,
    /// Instances that the list names (`ac_raw#saloon unit`), where a boat has several of a circuit.
    pub instances: Vec<(CircuitId, String)>,
    /// Measured or stated volumes in litres, where known.
    pub volumes_l: Vec<(CircuitId, f64)>,
    /// When it is meant to come out of the water.
    pub haul_date: Option<NaiveDate>,
    /// When it is meant to go back in.
    pub planned_launch: Option<NaiveDate>,
    /// What the yard was asked to do, as written.
    pub work_ordered: String,
    /// The yard's remarks, as written.
    pub notes: String,
}

impl Boat {
    /// A petrol engine inside the hull: its vapour gathers. An engine of unknown fuel is taken for one.
    #[must_use]
    pub fn has_enclosed_petrol(&self) -> bool {
        let fuel = self.fuel.to_lowercase();
        let outboard = self.cooling == CoolingKind::RawOutboard || self.kind.contains("outboard");
        let electric = self.cooling == CoolingKind::Electric || fuel.contains("electric");
        self.engines > 0 && !outboard && !fuel.contains("diesel") && !electric
    }

    /// A code for the place where the key hangs, such as `KQ3F7A`: the same for all boats whose keys hang there. `None` where
    /// none is on record.
    #[must_use]
    pub fn key_code(&self) -> Option<String> {
        let place = self.keys.trim().to_lowercase();
        // FNV-1a (Fowler, Noll and Vo), 64 bits, of which five letters are kept: the same for ever, and for a yard's few hundred
        // hooks hardly ever the same twice.
        let hash = place.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        let code = data_encoding::BASE32_NOPAD.encode(&hash.to_be_bytes());
        (!place.is_empty()).then(|| format!("K{}", code.get(..5).unwrap_or_default()))
    }

    /// The first day on which the boat can have existed: the first of January of the year before its model year, by the
    /// last two digits of a hull number laid out as in 33 CFR 181.25.
    #[must_use]
    pub fn existed_from(&self) -> Option<NaiveDate> {
        if !is_hull_number(&self.hull_id) {
            return None;
        }
        let year: i32 = self.hull_id.get(10..12)?.parse().ok()?;
        // The layout dates from 1972, so 72 to 99 are of the last century.
        let century = if year >= 72 { 1900 } else { 2000 };
        NaiveDate::from_ymd_opt(century + year - 1, 1, 1)
    }
}

/// Whether a hull number has the layout of 33 CFR 181.25: maker (three letters or digits), five of serial, month letter,
/// digit of the year, two digits of the model year.
#[must_use]
pub fn is_hull_number(text: &str) -> bool {
    !text.is_empty() && hull_number_fault(text).is_none()
}

/// What keeps a text from being a hull number by 33 CFR 181.25 (b) and (c); `None` where nothing does, or where there is no
/// number at all.
#[must_use]
pub fn hull_number_fault(text: &str) -> Option<&'static str> {
    let letters: Vec<char> = text.chars().collect();
    if letters.is_empty() {
        return None;
    }
    let all = |from: usize, count: usize, right: fn(&char) -> bool| {
        letters.iter().skip(from).take(count).all(right)
    };
    if letters.len() != 12 {
        Some("it has not twelve characters")
    } else if !all(0, 3, char::is_ascii_alphanumeric) {
        Some("the first three name the maker and are letters or digits")
    } else if !all(3, 5, |c| c.is_ascii_alphanumeric() && !matches!(c, 'I' | 'O' | 'Q')) {
        Some("characters 4 to 8 are digits or letters, and not I, O or Q: is one of them 1 or 0?")
    } else if !all(8, 1, |c| ('A'..='L').contains(c)) {
        Some("character 9 is the month, A to L")
    } else if !all(9, 3, char::is_ascii_digit) {
        Some("characters 10 to 12 are digits of the year")
    } else {
        None
    }
}
