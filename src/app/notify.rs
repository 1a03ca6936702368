//! From what is to be told to finished letters in the outbox.

pub mod chart;
pub mod claimed;
pub mod deliver;
pub mod held;
pub mod sms;
pub mod webhooks;
pub mod worklist;

use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::delivery::mime;
use crate::app::assess::Assessment;
use crate::app::context::{AppContext, ServiceError};
use crate::app::ports::{Fault, Held, OutboxRow, Unsendable};
use crate::app::settings::Settings;
use crate::app::settings::text::TextSettings;
use crate::domain::alert::{Act, CloseReason, Kind, Notification};
use crate::domain::boat::CircuitId;
use crate::domain::message::envelope;
use crate::domain::message::{
    Context, Email, MessageKey, Phrases, RolledUp, Sender, compose_rollup,
};
use crate::domain::yard::{Person, Site};

/// A message about a danger is of no use longer than this after the danger began.
const STALE_AFTER_DANGER: TimeDelta = TimeDelta::hours(6);
/// The least and the most that a message is kept trying.
const KEEP_LEAST: TimeDelta = TimeDelta::hours(12);
const KEEP_MOST: TimeDelta = TimeDelta::days(4);
/// Key for Message-IDs where none is configured: for trials, since outsiders could guess ids made with it.
const TRIAL_KEY: &[u8] = b"rimeward: no key configured";

/// What every letter of this service has in common.
pub struct Composer {
    /// The words.
    pub phrases: Phrases,
    /// Who writes.
    pub sender: Sender,
    /// Key of the Message-IDs.
    pub key: MessageKey,
    /// Way out, as the outbox names it.
    pub channel: &'static str,
    /// How short texts leave.
    pub texts: TextSettings,
}

impl Composer {
    /// By the settings of a house.
    ///
    /// # Errors
    /// The phrase catalogue or the key file.
    pub fn of(house: &AppContext) -> Result<Self, ServiceError> {
        let (yard_name, mail) = (&house.settings.yard.name, &house.settings.mail);
        // A file that went bad since the start keeps nobody from hearing.
        let own = own_phrases(&house.settings).unwrap_or_else(|faults| {
            tracing::error!("not in the yard's own words: {}", faults.join("; "));
            None
        });
        let built_in = || {
            Phrases::built_in()
                .map_err(|error| ServiceError::Told(format!("reading the phrases: {error}")))
        };
        let phrases = own.map_or_else(built_in, Ok)?;
        let key = match &mail.id_key_file {
            Some(path) => {
                let secret = crate::adapters::delivery::secret::read_secret_file(path)
                    .map_err(|error| ServiceError::Told(error.to_string()))?;
                MessageKey::new(secret.expose().as_bytes())
            }
            // Outsiders must not be able to guess what stands in real mail.
            None if mail.smtp.is_some() => own_key(&house.settings.store.path)?,
            None => MessageKey::new(TRIAL_KEY),
        };
        let domain = mail.from.rsplit_once('@').map_or("localhost", |(_, domain)| domain);
        let desk = format!("{yard_name} freeze desk");
        let sender = Sender {
            desk,
            address: mail.from.clone(),
            replies: mail.inbox.is_some(),
            domain: domain.to_owned(),
            list_domain: Some(domain.to_owned()),
            unsubscribe: Some(mail.from.clone()),
        };
        let channel = if mail.smtp.is_some() { "smtp" } else { "maildir" };
        Ok(Self { phrases, sender, key, channel, texts: house.settings.text.clone() })
    }
}

/// The phrase catalogue with the yard's own words, where the settings name some.
///
/// # Errors
/// Every fault of the file, in words, under the key that names it.
pub fn own_phrases(settings: &Settings) -> Result<Option<Phrases>, Vec<String>> {
    let Some(path) = &settings.mail.phrases else { return Ok(None) };
    let text = std::fs::read_to_string(path)
        .map_err(|error| vec![format!("mail.phrases: cannot read {}: {error}", path.display())])?;
    Phrases::with_own(&text).map(Some).map_err(|faults| {
        faults.iter().map(|fault| format!("mail.phrases: {}: {fault}", path.display())).collect()
    })
}

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
    /// Adds a row whose bytes are still to be made of `letter`.
    pub(crate) fn add(&mut self, letter: Result<Email, String>, mut row: OutboxRow) {
        let (fault, why) = match letter.map(|letter| (mime::to_bytes(&letter), letter)) {
            Ok((Ok(bytes), _)) => {
                row.bytes = bytes;
                self.letters.push(row);
                return;
            }
            Ok((Err(_), letter)) if letter.to.address.is_empty() => {
                (Fault::Address, "no mail address is listed".to_owned())
            }
            Ok((Err(error), _)) => (Fault::Other, crate::app::context::with_causes(&error)),
            Err(why) => (Fault::Other, why),
        };
        tracing::error!(alert.id = %row.alert, "no letter to {}: {why}", row.recipient);
        self.unsendable.push(Unsendable { row, fault, why });
    }
}

impl Composer {
    /// What every letter of this desk needs: who reads, which place is concerned, how circuits are called, its date.
    pub(crate) fn context<'a>(
        &'a self,
        (person, site): (&'a Person, &'a Site),
        label: &'a dyn Fn(&CircuitId) -> String,
        date: DateTime<Utc>,
    ) -> Context<'a> {
        let Self { phrases, sender, key, .. } = self;
        Context { phrases, sender, key, person, site, label, date, picture: None }
    }
}

/// The key of this installation, made at the first start and kept beside the store, readable by nobody else.
fn own_key(store: &Path) -> Result<MessageKey, ServiceError> {
    let path = store.with_extension("id-key");
    if !path.exists() {
        make_key(&path).map_err(|error| {
            ServiceError::Told(format!(
                "making the key for Message-IDs {}: {error}; make the folder writable, or set mail.id_key_file",
                path.display()
            ))
        })?;
    }
    let secret = crate::adapters::delivery::secret::read_secret_file(&path)
        .map_err(|error| ServiceError::Told(error.to_string()))?;
    Ok(MessageKey::new(secret.expose().as_bytes()))
}

/// Written whole under another name first: whoever reads it meanwhile finds all of it or nothing.
fn make_key(path: &Path) -> std::io::Result<()> {
    use std::io::Write as _;
    use std::os::unix::fs::OpenOptionsExt as _;
    let mut bytes = [0_u8; 32];
    ring::rand::SecureRandom::fill(&ring::rand::SystemRandom::new(), &mut bytes)
        .map_err(|_| std::io::Error::other("the machine gives no random numbers"))?;
    let whole = path.with_extension(format!("id-key.{}", std::process::id()));
    let mut file =
        std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&whole)?;
    writeln!(file, "{}", data_encoding::HEXLOWER.encode(&bytes))?;
    file.sync_all()?;
    let linked = std::fs::hard_link(&whole, path);
    std::fs::remove_file(&whole)?;
    match linked {
        // Another program was first: theirs counts.
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        other => other,
    }
}

/// Letters for all notifications: those that one person gets in one round about several boats become one letter. One that
/// cannot be written keeps no other from anybody.
#[must_use]
pub fn letters(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    notifications: &[Notification],
    now: DateTime<Utc>,
) -> Written {
    let label = |circuit: &CircuitId| label_of(house, circuit);
    let mut written = Written::default();
    let mut groups: Vec<Vec<&Notification>> = Vec::new();
    for notification in notifications.iter().filter(|notification| !notification.with_worklist) {
        let same = |group: &&mut Vec<&Notification>| {
            group.first().is_some_and(|first| {
                notification.rollup.is_some() && first.rollup == notification.rollup
            })
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(notification),
            None => groups.push(vec![notification]),
        }
    }
    for group in groups {
        let Some(first) = group.first() else { continue };
        let Some(person) = assessment.yard.people.get(&first.recipient) else { continue };
        let Some(place) = assessment.places.get(&first.site) else { continue };
        let is_open =
            |t: &&&Notification| t.kind == Kind::Freeze && !matches!(t.act, Act::Close { .. });
        let most_pressing = group.iter().filter(is_open).min_by_key(|notification| {
            let start = notification.facts.latest_start;
            (start.is_none(), start)
        });
        let about = most_pressing.and_then(|notification| notification.subject.boat());
        let picture = about.and_then(|boat| chart::of_boat(house, assessment, boat, person));
        let context = composer.context((person, &place.site), &label, now);
        let context = Context { picture: picture.as_ref(), ..context };
        let boat_of = |notification: &Notification| {
            let id = notification.subject.boat()?;
            assessment.boats.iter().find(|v| v.boat.id == *id).map(|v| (&v.boat, &v.state))
        };
        let members: Vec<RolledUp<'_>> = group
            .iter()
            .filter_map(|notification| {
                let site = assessment.places.get(&notification.site).map(|place| &place.site)?;
                Some(RolledUp { notification, boat: boat_of(notification), site })
            })
            .collect();
        let letter = compose_rollup(&members, &context).map_err(|error| error.to_string());
        let row = row(composer, &group, person, letter.as_ref().ok(), now);
        let text =
            letter.as_ref().ok().and_then(|letter| sms::beside(composer, person, letter, &row));
        written.add(letter, row);
        written.letters.extend(text);
    }
    written
}

/// A circuit in the owner's words.
#[must_use]
pub fn label_of(house: &AppContext, circuit: &CircuitId) -> String {
    house
        .catalogue
        .circuit(circuit)
        .map_or_else(|| crate::domain::message::plain_label(circuit), |kind| kind.label.clone())
}

fn row(
    composer: &Composer,
    group: &[&Notification],
    person: &Person,
    letter: Option<&Email>,
    now: DateTime<Utc>,
) -> OutboxRow {
    let closing = group.iter().any(|notification| matches!(notification.act, Act::Close { .. }));
    let reason = |notification: &&Notification| match &notification.act {
        Act::Close { reason, .. } => Some(reason.clone()),
        _ => None,
    };
    let passed = group.iter().filter_map(reason).any(|reason| reason == CloseReason::Passed);
    let first = group.first().copied();
    let rolled = group.len() > 1;
    let alert = match first {
        Some(notification) if !rolled => notification.alert.to_string(),
        _ => format!("rollup-{}-{}", person.id, now.timestamp()),
    };
    let danger = group.iter().filter_map(|notification| notification.facts.first_danger).max();
    let expires = danger.map_or(now + KEEP_MOST, |danger| danger + STALE_AFTER_DANGER);
    let not_before = group.iter().filter_map(|notification| notification.not_before).min();
    // One pressing boat in a roll-up is reason enough not to wait for the morning.
    let all_wait = group.iter().all(|notification| notification.not_before.is_some());
    let free = if all_wait { not_before.unwrap_or(now).max(now) } else { now };
    // Only an owner's letter is held, and that is about one boat.
    let held = first.filter(|_| !rolled).and_then(|notification| held(notification, free));
    let due = held.as_ref().map_or(free, |held| held.until.max(free));
    OutboxRow {
        revision: first.map_or(1, |notification| if rolled { 1 } else { notification.revision }),
        step: first.map_or(0, |notification| u32::from(notification.step)),
        kind: first.map_or("freeze", |notification| notification.kind.as_str()).to_owned(),
        closing,
        // That it may have frozen is news even to who never got the first word.
        urgent: passed || letter.is_some_and(|letter| letter.urgent),
        held,
        due_at: due,
        expires_at: if closing {
            now + KEEP_MOST
        } else {
            expires.clamp(due + KEEP_LEAST, due + KEEP_MOST)
        },
        ..blank_row(composer, letter, (&alert, person), now)
    }
}

fn held(notification: &Notification, free: DateTime<Utc>) -> Option<Held> {
    let (until, most) = (notification.hold_until?, notification.hold_most?);
    let draft = serde_json::to_string(notification).unwrap_or_default();
    Some(Held { until, most, free, by: None, draft })
}

/// A letter as a row of the outbox, without its bytes: about what, to whom.
pub(crate) fn blank_row(
    composer: &Composer,
    letter: Option<&Email>,
    (about, person): (&str, &Person),
    now: DateTime<Utc>,
) -> OutboxRow {
    let message_id = letter.map_or_else(String::new, |letter| letter.message_id.clone());
    OutboxRow {
        alert: about.to_owned(),
        revision: 1,
        recipient: person.id.clone(),
        channel: composer.channel.to_owned(),
        step: 0,
        kind: String::new(),
        closing: false,
        urgent: letter.is_some_and(|letter| letter.urgent),
        thread: about.to_owned(),
        return_path: envelope::return_path(&message_id, &composer.sender.domain),
        message_id,
        address: person.email.clone().unwrap_or_default(),
        subject: letter.map_or_else(|| about.to_owned(), |letter| letter.subject.clone()),
        bytes: Vec::new(),
        queued_at: now,
        due_at: now,
        expires_at: now + KEEP_MOST,
        held: None,
    }
}
