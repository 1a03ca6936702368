//! What an entry lacks, told when it is made: it is taken all the same and counts for less.
//!
//! The fold lowers the grade by these rules; here the same rules are only put into words, before anything is folded.

use super::{Boat, LayupEvent};
use crate::domain::catalogue::{Catalogue, CircuitSet, EffectKind, Reason};

/// What lowers the grade of an entry that stands alone, in words; empty where nothing does.
#[must_use]
pub fn doubts(event: &LayupEvent, boat: Option<&Boat>, catalogue: &Catalogue) -> Vec<String> {
    let Some(kind) = catalogue.event(&event.kind) else { return Vec::new() };
    let mut reasons = Vec::new();
    if matches!(kind.effect, EffectKind::Reading | EffectKind::LoopReading) {
        if event.reading_value.is_some() && event.reading_unit.is_none() {
            reasons.push(Reason::NoUnit);
        }
        if event.scale.is_none() {
            reasons.push(Reason::NoScale);
        }
        if kind.effect == EffectKind::Reading && event.point.is_none() && !kind.flags.own_drain {
            reasons.push(Reason::NoPoint);
        }
    }
    if kind.wants_parts() && event.circuits.is_empty() {
        reasons.push(Reason::NoPartNamed);
    }
    let mut words: Vec<String> =
        reasons.iter().map(|reason| catalogue.reasons().words(*reason).to_owned()).collect();
    let most = catalogue.limits().litres_high_share * fitted_l(event, boat, catalogue);
    if let Some(litres) = event.litres_out.filter(|litres| most > 0.0 && *litres > most) {
        let template = catalogue.reasons().words(Reason::LitresHigh);
        let limit = most / catalogue.limits().litres_high_share;
        words.push(
            template
                .replace("{litres}", &format!("{litres:.1}"))
                .replace("{limit}", &format!("{limit:.1}")),
        );
    }
    words
}

/// Litres of the circuits that an entry names, by the boat's own figures where it has them; 0 where none is named.
fn fitted_l(event: &LayupEvent, boat: Option<&Boat>, catalogue: &Catalogue) -> f64 {
    let named = event
        .circuits
        .iter()
        .filter_map(|id| catalogue.group(id))
        .fold(CircuitSet::EMPTY, CircuitSet::union);
    catalogue
        .circuits()
        .iter()
        .zip(0_u8..)
        .filter(|(kind, place)| {
            named.contains(*place) && boat.is_none_or(|boat| boat.fitted.contains(&kind.id))
        })
        .map(|(kind, _)| {
            let own = boat.and_then(|boat| boat.volumes_l.iter().find(|(id, _)| *id == kind.id));
            own.map_or(kind.volume_l, |(_, litres)| *litres)
        })
        .sum()
}
