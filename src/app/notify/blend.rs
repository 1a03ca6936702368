//! Words of kind `blend`.

use super::deadline::one_in;
use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::domain::alert::blend::Notice;
use crate::domain::boat::CircuitId;
use crate::domain::message::{Email, TooWeak, compose_blend};

pub(super) fn words(
    scene: &Scene<'_>,
    notice: &Notice,
    reader: Reader<'_>,
) -> Result<Email, String> {
    let view = scene.boat(&notice.boat)?;
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    let told = TooWeak {
        alert: &notice.thread.alert,
        revision: notice.thread.revision,
        earlier: &notice.thread.earlier,
        word: notice.word,
        boat: (&view.boat, &view.state),
        weak: &notice.past.weak,
        winters: notice.past.winters,
        one_in: one_in(notice.past.tolerance),
        earliest: notice.past.earliest,
        holds_from: notice.past.holds_from,
    };
    compose_blend(&told, &scene.context(reader, &label)).map_err(|error| error.to_string())
}
