//! Words about forecasts that grow old.

use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::domain::alert::aging::AgedPlace;
use crate::domain::boat::CircuitId;
use crate::domain::message::{Aging, Email, compose_aging};

pub(super) fn words(
    scene: &Scene<'_>,
    places: &[AgedPlace],
    reader: Reader<'_>,
) -> Result<Email, String> {
    let name = |place: &AgedPlace| {
        let site = scene.yard.sites.get(&place.site);
        site.map_or_else(|| place.site.to_string(), |site| site.name.clone())
    };
    let lines = places.iter().map(|place| Aging {
        place: name(place),
        issued_at: place.issued_at,
        blind_from: place.blind_from,
        boats: place.boats.clone(),
    });
    let lines: Vec<Aging> = lines.collect();
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    compose_aging(&lines, &scene.context(reader, &label)).map_err(|error| error.to_string())
}
