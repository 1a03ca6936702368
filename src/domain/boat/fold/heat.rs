//! The heat of a place going on and off, by what is entered for the place itself: what hangs on a lead aboard one boat heats no
//! shed, and that one boat has left it does not cool it.

use std::borrow::Borrow;

use chrono::{DateTime, Utc};

use super::log;
use super::whereabouts::{HEAT, POWER};
use crate::domain::boat::{HeatTurn, LayupEvent, SiteId};
use crate::domain::catalogue::Catalogue;

/// When the heat of `site` went on and off, oldest first, by the entries for the place among `events` that the yard knew at
/// `known_at`. A heater that is on is off while the power is away, also where nobody has entered that it was lit.
#[must_use]
pub fn heat_of_place<E: Borrow<LayupEvent>>(
    site: &SiteId,
    events: &[E],
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
    catalogue: &Catalogue,
) -> Vec<HeatTurn> {
    let of_places: Vec<&LayupEvent> =
        events.iter().map(Borrow::borrow).filter(|event| event.boat.is_none()).collect();
    let (mut heat, mut power) = (None, None);
    let mut turns: Vec<HeatTurn> = Vec::new();
    for (number, entry) in
        log::entries(&"".into(), &of_places, at, known_at, catalogue).iter().enumerate()
    {
        let Some((kind, on)) = &entry.kind.mitigation else { continue };
        if entry.event.site.as_ref() != Some(site) {
            continue;
        }
        match kind.as_str() {
            HEAT => heat = Some((number, *on)),
            POWER => power = Some((number, *on)),
            _ => continue,
        }
        // Nobody has entered that it was lit: it is heated, and what hangs on power has gone with the power.
        let (lit, wanted) = heat.unwrap_or((0, true));
        let powered = power.is_none_or(|(cut, on)| on || cut < lit);
        turn(&mut turns, HeatTurn { at: entry.event.happened_at, on: wanted && powered });
    }
    turns
}

/// Adds a turn. An entry without an hour may stand after one that is taken later: then it was before that.
fn turn(turns: &mut Vec<HeatTurn>, next: HeatTurn) {
    if turns.last().is_some_and(|last| last.on == next.on) {
        return;
    }
    turns.iter_mut().filter(|known| known.at > next.at).for_each(|known| known.at = next.at);
    turns.push(next);
}
