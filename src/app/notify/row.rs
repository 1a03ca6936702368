//! From a notification and its words to a row of the outbox: the only place that makes one for a letter.

use chrono::{DateTime, Utc};

use super::composer::Composer;
use super::scene::Scene;
use super::sms;
use crate::app::context::with_causes;
use crate::app::ports::Mailer;
use crate::app::ports::OutboxRow;
use crate::app::ports::{Fault, Held, Unsendable};
use crate::domain::alert::action::{Due, Expiry, Posting, expires_at, free_at};
use crate::domain::alert::quiet::not_before;
use crate::domain::alert::{Advice, Content, Notification};
use crate::domain::boat::PersonId;
use crate::domain::message::{Email, envelope};
use crate::domain::yard::{Person, Site};

/// What goes into the outbox: letters to send, and those that were decided and cannot go, so that the next contact hears
/// of them.
#[derive(Debug, Default)]
pub struct Written {
    /// To send.
    pub letters: Vec<OutboxRow>,
    /// No address, or no words.
    pub unsendable: Vec<Unsendable>,
}

impl Written {
    /// Adds a letter, and the short text beside it.
    pub(super) fn post(
        &mut self,
        scene: &Scene<'_>,
        notification: &Notification,
        reader: Option<(&Person, &Site)>,
        email: Result<Email, String>,
    ) {
        let row = row(scene, notification, reader, email.as_ref().ok());
        let text = email.as_ref().ok().zip(reader).and_then(|(email, (person, _))| {
            let beside = notification.posting.text_beside;
            beside.then(|| sms::beside(scene, person, email, &row)).flatten()
        });
        self.add(&*scene.app.mailer, email, row);
        self.letters.extend(text);
    }

    /// Adds a letter that belongs to no decision: it leaves at once.
    pub(crate) fn post_at_once(
        &mut self,
        (mailer, composer): (&dyn Mailer, &Composer),
        posting: &Posting,
        person: &Person,
        email: Result<Email, String>,
    ) {
        let to = (&person.id, person.email.clone().unwrap_or_default());
        let row = plain(composer, posting, to, email.as_ref().ok());
        self.add(mailer, email, row);
    }

    /// Adds a row whose bytes are still to be made of `letter`.
    fn add(&mut self, mailer: &dyn Mailer, letter: Result<Email, String>, mut row: OutboxRow) {
        let (fault, why) = match letter.map(|letter| (mailer.to_bytes(&letter), letter)) {
            Ok((Ok(bytes), _)) => {
                row.bytes = bytes;
                self.letters.push(row);
                return;
            }
            Ok((Err(_), letter)) if letter.to.address.is_empty() => {
                (Fault::Address, "no mail address is listed".to_owned())
            }
            Ok((Err(error), _)) => (Fault::Other, with_causes(&*error)),
            Err(why) => (Fault::Other, why),
        };
        tracing::error!(alert.id = %row.alert, person.id = %row.recipient, "no letter: {why}");
        self.unsendable.push(Unsendable { row, fault, why });
    }
}

fn row(
    scene: &Scene<'_>,
    notification: &Notification,
    reader: Option<(&Person, &Site)>,
    email: Option<&Email>,
) -> OutboxRow {
    let leaving = match &notification.content {
        Content::Advice(advice) => Leaving::of_advice(advice, scene.now),
        _ => Leaving::by_posting(scene, notification, reader),
    };
    let address = reader.and_then(|(person, _)| person.email.clone()).unwrap_or_default();
    let to = (&notification.recipient, address);
    let plain = plain(scene.composer, &notification.posting, to, email);
    OutboxRow {
        step: leaving.step,
        urgent: leaving.urgent || plain.urgent,
        due_at: leaving.due,
        expires_at: leaving.expires,
        held: leaving.held,
        ..plain
    }
}

/// A letter as a row, without its bytes: it leaves at once and is kept trying as long as its posting says.
fn plain(
    composer: &Composer,
    posting: &Posting,
    (recipient, address): (&PersonId, String),
    email: Option<&Email>,
) -> OutboxRow {
    let message_id = email.map_or_else(String::new, |email| email.message_id.clone());
    let (Expiry::AfterDecision(kept) | Expiry::AfterDue(kept)) = posting.expiry;
    OutboxRow {
        alert: posting.about.clone(),
        revision: posting.revision,
        recipient: recipient.clone(),
        channel: composer.channel.to_owned(),
        step: 0,
        kind: posting.kind.to_owned(),
        closing: posting.closing,
        urgent: email.is_some_and(|email| email.urgent),
        thread: posting.about.clone(),
        return_path: envelope::return_path(&message_id, &composer.sender.domain),
        message_id,
        address,
        subject: email.map_or_else(|| posting.about.clone(), |email| email.subject.clone()),
        bytes: Vec::new(),
        queued_at: posting.decided_at,
        due_at: posting.decided_at,
        expires_at: posting.decided_at + kept,
        held: None,
    }
}

/// When and how a letter leaves.
struct Leaving {
    step: u32,
    urgent: bool,
    due: DateTime<Utc>,
    expires: DateTime<Utc>,
    held: Option<Held>,
}

impl Leaving {
    fn of_advice(advice: &[Advice], now: DateTime<Utc>) -> Self {
        let free = free_at(advice, now);
        // Only an owner's letter is held, and that is about one boat.
        let held = match advice {
            [one] => held(one, free),
            _ => None,
        };
        let due = held.as_ref().map_or(free, |held| held.until.max(free));
        Self {
            step: advice.first().map_or(0, |advice| u32::from(advice.step)),
            urgent: advice.iter().any(Advice::has_passed),
            due,
            expires: expires_at(advice, due, now),
            held,
        }
    }

    fn by_posting(
        scene: &Scene<'_>,
        notification: &Notification,
        reader: Option<(&Person, &Site)>,
    ) -> Self {
        let (posting, now) = (&notification.posting, scene.now);
        let due = match (posting.due, reader) {
            (Due::ByDay(priority), Some((person, site))) => {
                let settings = &scene.app.settings.alert;
                not_before(person, site.time_zone, settings, priority, None, now).unwrap_or(now)
            }
            _ => now,
        };
        let expires = match posting.expiry {
            Expiry::AfterDecision(kept) => now + kept,
            Expiry::AfterDue(kept) => due + kept,
        };
        Self { step: 0, urgent: false, due, expires, held: None }
    }
}

/// The letter waits for the yard, with what it was written from. One that could not be written anew is not held at all.
fn held(advice: &Advice, free: DateTime<Utc>) -> Option<Held> {
    let (until, most) = (advice.hold_until?, advice.hold_most?);
    let draft = serde_json::to_string(advice)
        .inspect_err(|error| tracing::error!(alert.id = %advice.alert, "goes unheld: {error}"))
        .ok()?;
    Some(Held { until, most, free, by: None, draft })
}
