//! Words of the letter that opens a season.

use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::app::alerts::opening::boats_of;
use crate::app::settings::schedule::Schedule;
use crate::domain::boat::CircuitId;
use crate::domain::message::{Email, Opening, compose_opening};
use crate::domain::yard::recipients;

pub(super) fn words(scene: &Scene<'_>, year: i32, reader: Reader<'_>) -> Result<Email, String> {
    let (person, site) = reader;
    let seen = scene.seen()?;
    let boats = boats_of(person, seen);
    let places = recipients::places_of_season(person, &boats, &seen.yard.sites);
    let names: Vec<String> = places.iter().map(|site| site.name.clone()).collect();
    let settings = &scene.app.settings;
    let worklist = Schedule::parse(&settings.yard.worklist)
        .ok()
        .and_then(|schedule| schedule.next_after(scene.now, site.time_zone))
        .map(|next| next.with_timezone(&site.time_zone).format("%H:%M").to_string());
    let has_past = places.iter().any(|site| settings.season.archive_of(site.id.as_str()).is_some());
    let opening = Opening {
        year,
        boats: &boats,
        places: &names,
        worklist: worklist.as_deref(),
        nudges: settings.season.nudges && has_past,
    };
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    compose_opening(&opening, &scene.context(reader, &label)).map_err(|error| error.to_string())
}
