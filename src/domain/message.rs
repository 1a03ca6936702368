//! Words and standard formats for one thing to tell one person.
//!
//! A letter is made in three steps: the numbers of a telling become words ([`words`]), the phrase catalogue puts the words
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

use crate::domain::alert::{Act, CloseReason, Kind, Notification};
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::Priority;

pub use aging::{Aging, compose_aging};
pub use answered::{Answered, compose_answered};
pub use blend::{TooWeak, WeakPart, compose_blend};
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
pub use unreached::{MissedBy, Trouble, compose_reached, compose_unreached};
pub use worklist::{
    CannotSay, CrewLines, HeldLine, OverLine, PlaceLine, Worklist, WorklistBoat, compose_worklist,
};

/// Writes the letter for one notification to one person. A telling about a boat needs the boat and its record.
///
/// # Errors
/// [`MessageError`] where there is no address, no boat, or the phrase catalogue does not fit.
pub fn compose(
    notification: &Notification,
    boat: Option<(&Boat, &BoatState)>,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let no_words = || MessageError::NoWords { alert: notification.alert.to_string() };
    let (template, parts) = match notification.kind {
        Kind::Freeze => {
            let (boat, state) =
                boat.ok_or_else(|| MessageError::NoBoat { alert: notification.alert.to_string() })?;
            let template = match &notification.act {
                Act::Raise { .. } => "freeze_raise",
                Act::Update { .. } => "freeze_update",
                Act::Close { reason: CloseReason::Returned, .. } => "freeze_returned",
                Act::Close { reason: CloseReason::Done, .. } => "freeze_done",
                Act::Close { reason: CloseReason::Passed, .. } => "freeze_passed",
                Act::Close { reason: CloseReason::NotFollowed { .. }, .. } => "freeze_dropped",
                Act::Close { reason: CloseReason::Cancelled { .. }, .. } => "freeze_cancelled",
                Act::Close { .. } => return Err(no_words()),
            };
            (template, freeze::draft(notification, boat, state, context))
        }
        Kind::Blind => match &notification.act {
            Act::Raise { .. } | Act::Update { .. } => {
                ("blind_raise", blind::draft(notification, context))
            }
            Act::Close { .. } => ("blind_close", blind::draft(notification, context)),
        },
        _ => return Err(no_words()),
    };
    let ids = identity::of_telling(notification, context.key, &context.sender.domain);
    let stream = match notification.kind {
        Kind::Blind => "operator",
        _ => "freeze",
    };
    let urgent = notification.facts.priority == Priority::High
        && !matches!(notification.act, Act::Close { .. });
    finish(template, &parts, ids, stream, urgent, context)
}
