//! Boats: their circuits, the append-only lay-up log, and the fold from that log to what is in each circuit and why.

pub mod doubt;
pub mod event;
pub mod exposure;
pub mod fold;
pub mod place;
pub mod state;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::domain::catalogue::identifier;
pub use crate::domain::catalogue::{CircuitId, CoolingKind, Evidence, Holds};
pub use doubt::doubts;
pub use event::{EventId, LayupEvent, Precision};
pub use exposure::{Exposure, uncleared};
pub use fold::{FOLD_VERSION, fold};
pub use place::{PlaceFacts, Places};
pub use state::{BoatState, CircuitState, Mitigation};

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
    /// Circuits that the boat really has.
    pub fitted: Vec<CircuitId>,
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
    let letters: Vec<char> = text.chars().collect();
    letters.len() == 12
        && letters.iter().take(8).all(char::is_ascii_alphanumeric)
        && letters.get(8).is_some_and(|month| ('A'..='L').contains(month))
        && letters.iter().skip(9).all(char::is_ascii_digit)
}
