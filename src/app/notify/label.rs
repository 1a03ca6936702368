//! What circuits are called.

use crate::domain::boat::CircuitId;
use crate::domain::catalogue::Catalogue;

/// A circuit in the owner's words.
#[must_use]
pub fn label_of(catalogue: &Catalogue, circuit: &CircuitId) -> String {
    catalogue
        .circuit(circuit)
        .map_or_else(|| crate::domain::message::plain_label(circuit), |kind| kind.label.clone())
}
