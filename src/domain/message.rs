//! Words and standard formats for one thing to tell one person.
//!
//! A letter is made in three steps: the numbers of advice become words ([`words`]), the phrase catalogue puts the words
//! into parts in a fixed order ([`phrases`]), and the parts are written twice, as text and as HTML ([`block`]). What is not
//! in a part is in neither, so the text says all that the HTML says. Nothing here decides anything or computes a risk.

mod aging;
mod answered;
mod blend;
mod blind;
pub mod block;
pub mod calendar;
pub mod cap;
pub mod cautions;
pub mod chart;
mod damage;
mod deadline;
mod deeds;
pub mod envelope;
mod freeze;
mod heat;
pub mod identity;
pub mod lint;
pub mod notice;
mod opening;
pub mod phrases;
mod rollup;
pub mod short;
mod unreached;
mod voice;
pub mod words;
mod worklist;
mod context;
mod error;
mod finish;
mod letter;
mod shown;

use crate::domain::alert::{Act, Advice, CloseReason, Kind};
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::Priority;

pub use aging::{Aging, compose_aging};
pub use answered::{Answered, compose_answered};
pub use blend::{TooWeak, compose_blend};
pub use context::{Context, Sender, plain_label};
pub use damage::compose_damage;
pub use deadline::{Nudge, compose_deadline};
pub use error::MessageError;
use finish::{Draft, finish};
pub use heat::{HeatTold, InTheShed, compose_heat};
pub use identity::MessageKey;
pub use letter::{Email, Mailbox};
pub use opening::{Opening, compose_opening};
pub use phrases::Phrases;
pub use rollup::{RolledUp, compose_rollup};
pub use shown::picture_id;
pub use unreached::{MissedBy, compose_reached, compose_unreached};
pub use worklist::{
    CannotSay, CrewLines, HeldLine, OverLine, PlaceLine, Worklist, WorklistBoat, compose_worklist,
};

/// Writes the letter for one advice to one person. A telling about a boat needs the boat and its record.
///
/// # Errors
/// [`MessageError`] where there is no address, no boat, or the phrase catalogue does not fit.
pub fn compose(
    advice: &Advice,
    boat: Option<(&Boat, &BoatState)>,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let no_words = || MessageError::NoWords { alert: advice.alert.to_string() };
    let (template, parts) = match advice.kind {
        Kind::Freeze => {
            let (boat, state) =
                boat.ok_or_else(|| MessageError::NoBoat { alert: advice.alert.to_string() })?;
            let template = match &advice.act {
                Act::Raise { .. } => "freeze_raise",
                Act::Update { .. } => "freeze_update",
                Act::Close { reason: CloseReason::Returned, .. } => "freeze_returned",
                Act::Close { reason: CloseReason::Done, .. } => "freeze_done",
                Act::Close { reason: CloseReason::Passed, .. } => "freeze_passed",
                Act::Close { reason: CloseReason::NotFollowed { .. }, .. } => "freeze_dropped",
                Act::Close { reason: CloseReason::Cancelled { .. }, .. } => "freeze_cancelled",
                Act::Close { .. } => return Err(no_words()),
            };
            (template, freeze::draft(advice, boat, state, context))
        }
        Kind::Blind => match &advice.act {
            Act::Raise { .. } | Act::Update { .. } => {
                ("blind_raise", blind::draft(advice, context))
            }
            Act::Close { .. } => ("blind_close", blind::draft(advice, context)),
        },
        _ => return Err(no_words()),
    };
    let ids = identity::of_advice(advice, context.key, &context.sender.domain);
    let stream = match advice.kind {
        Kind::Blind => "operator",
        _ => "freeze",
    };
    let urgent =
        advice.facts.priority == Priority::High && !matches!(advice.act, Act::Close { .. });
    finish(template, &parts, ids, stream, urgent, context)
}
