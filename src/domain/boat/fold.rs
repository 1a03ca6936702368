//! The fold from the lay-up log to what is in each circuit and why.

use chrono::{DateTime, Utc};

use super::{Boat, BoatState, LayupEvent, Places};
use crate::domain::catalogue::Catalogue;

/// What is in each circuit of `boat` at `at`, by what the yard knew at `known_at`.
///
/// `events` are this boat's and those of its places, in any order.
#[must_use]
pub fn fold(
    boat: &Boat,
    _places: &(impl Places + ?Sized),
    _events: &[LayupEvent],
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
    _catalogue: &Catalogue,
) -> BoatState {
    BoatState {
        boat: boat.id.clone(),
        at,
        known_at,
        site: boat.site.clone(),
        afloat: false,
        covered: false,
        circuits: Vec::new(),
        mitigations: Vec::new(),
        test_before_running: Vec::new(),
        open_questions: Vec::new(),
    }
}
