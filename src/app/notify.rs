//! From what is to be told to finished letters in the outbox: one composer words a notification, whatever its kind, and one
//! builder ([`row`]) makes the row.

mod advice;
mod aging;
mod blend;
pub mod chart;
pub mod claimed;
mod deadline;
pub mod deliver;
mod heat;
pub mod held;
mod opening;
mod row;
pub mod sms;
mod undeliverable;
pub mod webhooks;
pub mod worklist;

use std::cell::OnceCell;

use chrono::{DateTime, Utc};

use crate::app::assess::{Assessment, BoatView};
use crate::app::context::{AppContext, ServiceError, YardBook};
use crate::app::settings::Settings;
use crate::app::settings::text::TextSettings;
use crate::domain::alert::bundle::bundled;
use crate::domain::alert::{Content, Notification};
use crate::domain::boat::{BoatId, CircuitId};
use crate::domain::message::{Context, Email, MessageKey, Phrases, Sender};
use crate::domain::yard::{Person, Site, recipients};
pub use row::Written;

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
        // Outsiders must not be able to guess what stands in real mail.
        let key = if mail.id_key_file.is_some() || mail.smtp.is_some() {
            let key = house.mailer.id_key(mail.id_key_file.as_deref(), &house.settings.store.path);
            key.map_err(|error| ServiceError::Told(error.to_string()))?
        } else {
            MessageKey::new(TRIAL_KEY)
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

/// What the words of a round are made from.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// Store, tables, settings.
    pub app: &'a AppContext,
    /// The words and the sender.
    pub composer: &'a Composer,
    /// Places, people, boats.
    pub yard: &'a YardBook,
    /// The look that was decided on; `None` where nothing was looked at.
    pub seen: Option<&'a Assessment>,
    /// The round.
    pub now: DateTime<Utc>,
}

impl<'a> Scene<'a> {
    /// The look over the yard.
    fn seen(&self) -> Result<&'a Assessment, String> {
        self.seen.ok_or_else(|| "nothing was looked at".to_owned())
    }

    /// A boat as it was looked at.
    fn boat(&self, id: &BoatId) -> Result<&'a BoatView, String> {
        let views = self.seen()?.boats.iter();
        let view = views.into_iter().find(|view| view.boat.id == *id);
        view.ok_or_else(|| format!("the boat {id} is not listed any more"))
    }

    /// What every letter to this reader needs.
    fn context(&self, reader: Reader<'a>, label: &'a dyn Fn(&CircuitId) -> String) -> Context<'a> {
        self.composer.context(reader, label, self.now)
    }
}

/// Who reads, and the place whose clock and name the letter goes by.
type Reader<'a> = (&'a Person, &'a Site);

/// Letters for all notifications: those that one person gets in one round about several boats become one letter. One that
/// cannot be written keeps no other from anybody, and the next contact hears of it.
#[must_use]
pub fn write(scene: &Scene<'_>, notifications: &[Notification]) -> Written {
    let carried = heat::carried(scene, notifications);
    let mut written = Written::default();
    let lists = OnceCell::new();
    for notification in bundled(notifications, |advice| carried.has(advice)) {
        let reader = reader(scene, &notification);
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

fn reader<'a>(scene: &Scene<'a>, notification: &Notification) -> Option<Reader<'a>> {
    let yard = scene.yard;
    let person = yard.people.get(&notification.recipient)?;
    let site = match notification.content {
        // About other people, at the reader's own clock; and a list is of all of the reader's places.
        Content::Undeliverable(_) => recipients::places_of(person, &yard.boats, &yard.sites)
            .first()
            .and_then(|id| yard.sites.get(id)),
        Content::Worklist => yard.sites.get(&notification.site).or(yard.sites.values().next()),
        _ => yard.sites.get(&notification.site),
    };
    Some((person, site?))
}

/// A circuit in the owner's words.
#[must_use]
pub fn label_of(house: &AppContext, circuit: &CircuitId) -> String {
    house
        .catalogue
        .circuit(circuit)
        .map_or_else(|| crate::domain::message::plain_label(circuit), |kind| kind.label.clone())
}
