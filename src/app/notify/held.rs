//! Letters to owners that wait for the yard: which, and what the yard can do to them.

use chrono::{DateTime, Utc};

use super::composer::Composer;
use crate::app::assess::{AsOf, Assessment, assess};
use crate::app::context::{AppContext, ServiceError};
use crate::app::error::HeldError;
use crate::app::notify::chart;
use crate::app::ports::HeldLetters;
use crate::app::ports::OutboxRow;
use crate::app::ports::{Held, HeldBy, Posted, Rewritten};
use crate::domain::alert::Advice;
use crate::domain::boat::SiteId;
use crate::domain::message::{Context, HeldLine, RolledUp, compose_rollup};

/// Those of the store and those of the round in hand, by place.
pub(crate) fn waiting(
    store: &dyn HeldLetters,
    assessment: &Assessment,
    letters: &[OutboxRow],
    now: DateTime<Utc>,
) -> Vec<(SiteId, HeldLine)> {
    let stored = store.held_letters(now).unwrap_or_else(|error| {
        tracing::error!("the worklist goes without the letters that wait: {error}");
        Vec::new()
    });
    let stored = stored.iter().map(|posted| &posted.row);
    stored.chain(letters).filter_map(|row| line(assessment, row)).collect()
}

fn line(assessment: &Assessment, row: &OutboxRow) -> Option<(SiteId, HeldLine)> {
    let held = row.held.as_ref()?;
    let advice = told(held)?;
    let boat = advice.subject.boat()?;
    let boat = assessment.boats.iter().find(|view| view.boat.id == *boat)?;
    let owner = assessment.yard.people.get(&row.recipient)?;
    let line = HeldLine {
        owner: owner.name.clone(),
        boat: boat.boat.name.clone(),
        subject: row.subject.clone(),
        goes: row.due_at,
    };
    Some((advice.site, line))
}

/// What a held letter was written from.
#[must_use]
pub fn told(held: &Held) -> Option<Advice> {
    read(held).ok()
}

fn read(held: &Held) -> Result<Advice, serde_json::Error> {
    serde_json::from_str(&held.draft)
}

/// Writes a held letter anew with a word of the yard in it, from what it was decided on: not one number changes.
///
/// # Errors
/// [`ServiceError::Held`]: it cannot be read, or not written.
pub fn with_note(
    house: &AppContext,
    composer: &Composer,
    letter: &Posted,
    by: &HeldBy,
) -> Result<Rewritten, ServiceError> {
    let failed = |source| ServiceError::Held { letter: letter.id, source };
    let held = letter.row.held.as_ref().ok_or_else(|| failed(HeldError::NotHeld))?;
    let advice = read(held).map_err(|error| failed(HeldError::Unreadable(error)))?;
    let advice = Advice { yard_note: Some(by.why.clone()), ..advice };
    // As the record stood when it was decided.
    let at = AsOf::now(letter.row.queued_at);
    let seen = assess(house, at, |site| *site == advice.site)?;
    let person =
        seen.yard.people.get(&letter.row.recipient).ok_or_else(|| failed(HeldError::ReaderGone))?;
    let place = seen.places.get(&advice.site).ok_or_else(|| failed(HeldError::PlaceGone))?;
    let boat = advice.subject.boat();
    let view = seen.boats.iter().find(|view| Some(&view.boat.id) == boat);
    let item = RolledUp {
        advice: &advice,
        boat: view.map(|view| (&view.boat, &view.state)),
        site: &place.site,
    };
    let label = |circuit: &crate::domain::boat::CircuitId| {
        super::label::label_of(&house.catalogue, circuit)
    };
    let picture = boat.and_then(|boat| chart::of_boat(house, &seen, boat, person));
    let context = composer.context((person, &place.site), &label, letter.row.queued_at);
    let context = Context { picture: picture.as_ref(), ..context };
    let written = compose_rollup(&[item], &context).map_err(|error| failed(error.into()))?;
    let bytes = house.mailer.to_bytes(&written).map_err(|error| failed(HeldError::Mail(error)))?;
    Ok(Rewritten { subject: written.subject, bytes })
}
