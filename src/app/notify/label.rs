//! What circuits are called.

use crate::app::context::AppContext;
use crate::domain::boat::CircuitId;

/// A circuit in the owner's words.
#[must_use]
pub fn label_of(house: &AppContext, circuit: &CircuitId) -> String {
    house
        .catalogue
        .circuit(circuit)
        .map_or_else(|| crate::domain::message::plain_label(circuit), |kind| kind.label.clone())
}
