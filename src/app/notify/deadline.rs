//! Words of kind `deadline`.

use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::domain::alert::deadline::Notice;
use crate::domain::boat::CircuitId;
use crate::domain::message::{Email, Nudge, compose_deadline};

pub(super) fn words(
    scene: &Scene<'_>,
    notice: &Notice,
    reader: Reader<'_>,
) -> Result<Email, String> {
    let view = scene.boat(&notice.boat)?;
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    let wet: Vec<CircuitId> = notice.wet.iter().map(|system| system.circuit.clone()).collect();
    let nudge = Nudge {
        alert: &notice.thread.alert,
        revision: notice.thread.revision,
        earlier: &notice.thread.earlier,
        word: notice.word,
        boat: (&view.boat, &view.state),
        wet: &wet,
        last_day: notice.last_day,
        one_in: one_in(notice.tolerance),
        half_day: notice.half_day,
        seasons: notice.seasons,
        minutes: notice.minutes,
        hours: scene.app.settings.yard.working_hours(),
    };
    compose_deadline(&nudge, &scene.context(reader, &label)).map_err(|error| error.to_string())
}

/// A tolerance as one in so many.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0.02 to 0.5")]
pub(super) fn one_in(tolerance: f64) -> u32 {
    (1.0 / tolerance.clamp(0.02, 0.5)).round() as u32
}
