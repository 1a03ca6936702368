//! From what is to be told to finished letters in the outbox: one composer words a notification, whatever its kind, and one
//! builder (`row`) makes the row.

mod advice;
mod aging;
mod blend;
pub mod chart;
pub mod claimed;
mod composer;
mod deadline;
pub mod deliver;
mod heat;
pub mod held;
mod label;
mod opening;
mod row;
mod scene;
pub mod sms;
mod undeliverable;
pub mod webhooks;
pub mod worklist;

use std::cell::OnceCell;

use crate::domain::alert::bundle::bundled;
use crate::domain::alert::{Content, Notification};
use crate::domain::message::Email;
pub use composer::{Composer, own_phrases};
pub use label::label_of;
pub use row::Written;
use scene::Reader;
pub use scene::Scene;

/// Letters for all notifications: those that one person gets in one round about several boats become one letter. One that
/// cannot be written keeps no other from anybody, and the next contact hears of it.
#[must_use]
pub fn write(scene: &Scene<'_>, notifications: &[Notification]) -> Written {
    let carried = heat::carried(scene, notifications);
    let mut written = Written::default();
    let lists = OnceCell::new();
    for notification in bundled(notifications, |advice| carried.has(advice)) {
        let reader = scene.reader(&notification);
        let email = match reader {
            Some(reader) => {
                let shared = || worklist::Shared::of(scene, &written.letters);
                words(scene, &notification, reader, &|| lists.get_or_init(shared))
            }
            None => Err("the reader or the place is not listed any more".to_owned()),
        };
        written.post(scene, &notification, reader, email);
    }
    written
}

/// The words of a notification. One line and one file for each kind.
fn words<'a>(
    scene: &Scene<'_>,
    notification: &Notification,
    reader: Reader<'_>,
    lists: &dyn Fn() -> &'a worklist::Shared,
) -> Result<Email, String> {
    match &notification.content {
        Content::Advice(advice) => advice::words(scene, advice, reader),
        Content::Heat(notice) => heat::words(scene, notice, reader),
        Content::Deadline(notice) => deadline::words(scene, notice, reader),
        Content::Blend(notice) => blend::words(scene, notice, reader),
        Content::Undeliverable(notices) => undeliverable::words(scene, notices, reader),
        Content::Opening(year) => opening::words(scene, *year, reader),
        Content::Aging(places) => aging::words(scene, places, reader),
        Content::Worklist => worklist::words(scene, reader.0, lists()),
    }
}
