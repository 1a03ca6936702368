//! Words of kinds `freeze` and `blind`.

use super::chart;
use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::domain::alert::{Advice, Kind};
use crate::domain::boat::CircuitId;
use crate::domain::message::{Context, Email, RolledUp, compose_rollup};

pub(super) fn words(
    scene: &Scene<'_>,
    advice: &[Advice],
    reader: Reader<'_>,
) -> Result<Email, String> {
    let seen = scene.seen()?;
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    let open = advice.iter().filter(|one| one.kind == Kind::Freeze && !one.closes());
    let most_pressing = open.min_by_key(|one| {
        let start = one.facts.latest_start;
        (start.is_none(), start)
    });
    let about = most_pressing.and_then(|one| one.subject.boat());
    let picture = about.and_then(|boat| chart::of_boat(scene.app, seen, boat, reader.0));
    let context = Context { picture: picture.as_ref(), ..scene.context(reader, &label) };
    let members: Vec<RolledUp<'_>> = advice
        .iter()
        .map(|one| {
            let boat = one.subject.boat().and_then(|id| scene.boat(id).ok());
            RolledUp {
                advice: one,
                boat: boat.map(|view| (&view.boat, &view.state)),
                site: scene.yard.sites.get(&one.site).unwrap_or(reader.1),
            }
        })
        .collect();
    compose_rollup(&members, &context).map_err(|error| error.to_string())
}
