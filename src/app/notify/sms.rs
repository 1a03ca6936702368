//! Short texts beside letters, to those who agreed to them.

use super::scene::Scene;
use crate::app::ports::{OutboxRow, TEXTS};
use crate::domain::message::{Email, Mailbox, envelope};
use crate::domain::yard::Person;

/// The short text that goes with a letter: about the same, at the same time, as long of use. None without the reader's
/// consent, without a gateway and a whole number, and for letters that have no short form. While the yard holds the letter the
/// text waits with it: what the yard has not looked at is not told by another way either.
pub(crate) fn beside(
    scene: &Scene<'_>,
    person: &Person,
    letter: &Email,
    row: &OutboxRow,
) -> Option<OutboxRow> {
    let composer = scene.composer;
    let text = letter.short.as_ref().filter(|_| person.text_consent)?;
    let address = composer.texts.address(person.phone.as_deref()?)?;
    let step = u8::try_from(row.step).unwrap_or(u8::MAX);
    let (about, domain) = (format!("text {}", row.alert), &composer.sender.domain);
    let message_id = composer.key.id(&about, row.revision, person.id.as_str(), step, domain);
    let wrapped = Email {
        message_id: message_id.clone(),
        to: Mailbox { name: String::new(), address: address.clone() },
        // Gateways set a subject before the text, which says it all.
        subject: String::new(),
        reply_to: None,
        in_reply_to: None,
        references: Vec::new(),
        list_id: None,
        unsubscribe: None,
        ..letter.clone()
    };
    let bytes = scene
        .app
        .mailer
        .short_to_bytes(&wrapped, text)
        // The letter goes all the same.
        .inspect_err(|error| tracing::error!("no short text to {}: {error}", person.id))
        .ok()?;
    Some(OutboxRow {
        channel: TEXTS.to_owned(),
        kind: TEXTS.to_owned(),
        return_path: envelope::return_path(&message_id, domain),
        message_id,
        address,
        bytes,
        held: None,
        ..row.clone()
    })
}
