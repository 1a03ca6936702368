//! From what is to be told to finished letters in the outbox.

use chrono::{DateTime, TimeDelta, Utc};

use super::house::{House, ServiceError};
use super::survey::Survey;
use crate::delivery::{envelope, mime};
use crate::domain::alert::{Act, Telling};
use crate::domain::boat::CircuitId;
use crate::domain::message::{
    Context, Letter, Mailbox, MessageKey, Phrases, RolledUp, Sender, compose_rollup,
};
use crate::domain::yard::Person;
use crate::settings::Mail;
use crate::store::OutboxRow;

/// A message about a danger is of no use longer than this after the danger began.
const STALE_AFTER_DANGER: TimeDelta = TimeDelta::hours(6);
/// The least and the most that a message is kept trying.
const KEEP_LEAST: TimeDelta = TimeDelta::hours(12);
const KEEP_MOST: TimeDelta = TimeDelta::days(4);
/// Key for Message-IDs where none is configured: for trials, since outsiders could guess ids made with it.
const TRIAL_KEY: &[u8] = b"rimeward: no key configured";

/// What every letter of this service has in common.
pub struct Desk {
    /// The words.
    pub phrases: Phrases,
    /// Who writes.
    pub sender: Sender,
    /// Key of the Message-IDs.
    pub key: MessageKey,
    /// Way out, as the outbox names it.
    pub channel: &'static str,
}

impl Desk {
    /// By the settings.
    ///
    /// # Errors
    /// The phrase catalogue or the key file.
    pub fn open(yard_name: &str, mail: &Mail) -> Result<Self, ServiceError> {
        let phrases = Phrases::built_in()
            .map_err(|error| ServiceError::Told(format!("reading the phrases: {error}")))?;
        let key = match &mail.id_key_file {
            Some(path) => {
                let secret = crate::delivery::secret::read_secret_file(path)
                    .map_err(|error| ServiceError::Told(error.to_string()))?;
                MessageKey::new(secret.expose().as_bytes())
            }
            None => MessageKey::new(TRIAL_KEY),
        };
        let domain = mail.from.rsplit_once('@').map_or("localhost", |(_, domain)| domain);
        let desk = format!("{yard_name} freeze desk");
        let sender = Sender {
            desk,
            address: mail.from.clone(),
            reply_to: None,
            domain: domain.to_owned(),
            list_domain: Some(domain.to_owned()),
            unsubscribe: Some(mail.from.clone()),
        };
        let channel = if mail.smtp.is_some() { "smtp" } else { "maildir" };
        Ok(Self { phrases, sender, key, channel })
    }
}

/// Letters for all tellings: those that one person gets in one round about several boats become one letter.
///
/// A person who cannot be written to is logged and passed over; the alert stands on the worklist all the same.
///
/// # Errors
/// A phrase catalogue that does not fit.
pub fn letters(
    house: &House,
    desk: &Desk,
    survey: &Survey,
    tellings: &[Telling],
    now: DateTime<Utc>,
) -> Result<Vec<OutboxRow>, ServiceError> {
    let label = |circuit: &CircuitId| label_of(house, circuit);
    let mut rows = Vec::new();
    let mut groups: Vec<Vec<&Telling>> = Vec::new();
    for telling in tellings.iter().filter(|telling| !telling.with_worklist) {
        let same = |group: &&mut Vec<&Telling>| {
            group
                .first()
                .is_some_and(|first| telling.rollup.is_some() && first.rollup == telling.rollup)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(telling),
            None => groups.push(vec![telling]),
        }
    }
    for group in groups {
        let Some(first) = group.first() else { continue };
        let Some(person) = survey.yard.people.get(&first.recipient) else { continue };
        let Some(place) = survey.places.get(&first.site) else { continue };
        let context = Context {
            phrases: &desk.phrases,
            sender: &desk.sender,
            key: &desk.key,
            person,
            site: &place.site,
            label: &label,
            date: now,
        };
        let boat_of = |telling: &Telling| {
            let id = telling.subject.boat()?;
            survey.boats.iter().find(|v| v.boat.id == *id).map(|v| (&v.boat, &v.state))
        };
        let members: Vec<RolledUp<'_>> = group
            .iter()
            .filter_map(|telling| {
                let site = survey.places.get(&telling.site).map(|place| &place.site)?;
                Some(RolledUp { telling, boat: boat_of(telling), site })
            })
            .collect();
        match compose_rollup(&members, &context) {
            Ok(letter) => match row(desk, &group, person, letter, now) {
                Ok(row) => rows.push(row),
                // One letter that cannot be written must not keep the others from anybody.
                Err(error) => tracing::error!(
                    alert.id = %first.alert,
                    "{}: no letter to {}: {error}", first.alert, person.id
                ),
            },
            Err(error) => {
                tracing::error!(alert.id = %first.alert, "{}: {error}", first.alert);
            }
        }
    }
    Ok(rows)
}

/// A circuit in the owner's words.
pub(super) fn label_of(house: &House, circuit: &CircuitId) -> String {
    house
        .catalogue
        .circuit(circuit)
        .map_or_else(|| crate::domain::message::plain_label(circuit), |kind| kind.label.clone())
}

fn row(
    desk: &Desk,
    group: &[&Telling],
    person: &Person,
    letter: Letter,
    now: DateTime<Utc>,
) -> Result<OutboxRow, ServiceError> {
    let closing = group.iter().any(|telling| matches!(telling.act, Act::Close { .. }));
    let first = group.first().copied();
    let rolled = group.len() > 1;
    let alert = match first {
        Some(telling) if !rolled => telling.alert.to_string(),
        _ => format!("rollup-{}-{}", person.id, now.timestamp()),
    };
    let danger = group.iter().filter_map(|telling| telling.facts.first_danger).max();
    let expires = danger.map_or(now + KEEP_MOST, |danger| danger + STALE_AFTER_DANGER);
    let not_before = group.iter().filter_map(|telling| telling.not_before).min();
    // One pressing boat in a roll-up is reason enough not to wait for the morning.
    let all_wait = group.iter().all(|telling| telling.not_before.is_some());
    let due = if all_wait { not_before.unwrap_or(now).max(now) } else { now };
    outbox_row(desk, letter, person, now, |row| {
        row.thread.clone_from(&alert);
        row.alert = alert;
        row.revision = first.map_or(1, |telling| if rolled { 1 } else { telling.revision });
        row.step = first.map_or(0, |telling| u32::from(telling.step));
        row.kind = first.map_or("freeze", |telling| telling.kind.as_str()).to_owned();
        row.closing = closing;
        row.due_at = due;
        row.expires_at = if closing {
            now + KEEP_MOST
        } else {
            expires.clamp(due + KEEP_LEAST, due + KEEP_MOST)
        };
    })
}

/// A letter as a row of the outbox; `fill` says what it is about.
pub(super) fn outbox_row(
    desk: &Desk,
    letter: Letter,
    person: &Person,
    now: DateTime<Utc>,
    fill: impl FnOnce(&mut OutboxRow),
) -> Result<OutboxRow, ServiceError> {
    let bytes = mime::to_bytes(&letter)
        .map_err(|error| ServiceError::Told(format!("writing a letter: {error}")))?;
    let Mailbox { address, .. } = letter.to;
    let mut row = OutboxRow {
        alert: String::new(),
        revision: 1,
        recipient: person.id.clone(),
        channel: desk.channel.to_owned(),
        step: 0,
        kind: String::new(),
        closing: false,
        urgent: letter.urgent,
        thread: String::new(),
        return_path: envelope::return_path(&letter.message_id, &desk.sender.domain),
        message_id: letter.message_id,
        address,
        subject: letter.subject,
        bytes,
        queued_at: now,
        due_at: now,
        expires_at: now + KEEP_MOST,
    };
    fill(&mut row);
    Ok(row)
}
