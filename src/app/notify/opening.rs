//! Words of the letter that opens a season.

use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::app::alerts::opening::boats_of;
use crate::app::settings::schedule::Schedule;
use crate::domain::boat::{BoatId, CircuitId};
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
    let is_own = |id: &BoatId| boats.iter().any(|boat| boat.id == *id);
    let open = seen.boats.iter().filter(|view| view.state.cooling_open && is_own(&view.boat.id));
    let cooling_open: Vec<String> = open.map(|view| view.boat.name.clone()).collect();
    let opening = Opening {
        cooling_open: &cooling_open,
        year,
        boats: &boats,
        places: &names,
        worklist: worklist.as_deref(),
        nudges: settings.season.nudges && has_past,
    };
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    compose_opening(&opening, &scene.context(reader, &label)).map_err(|error| error.to_string())
}
