//! What every letter of this service has in common: the words, the sender, the key.

use chrono::{DateTime, Utc};

use crate::app::error::ServiceError;
use crate::app::ports::Mailer;
use crate::app::settings::Settings;
use crate::app::settings::text::TextSettings;
use crate::domain::boat::CircuitId;
use crate::domain::message::{Context, MessageKey, Phrases, Sender};
use crate::domain::yard::{Person, Site};

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
    /// By the settings.
    ///
    /// # Errors
    /// The phrase catalogue or the key file.
    pub fn of(settings: &Settings, mailer: &dyn Mailer) -> Result<Self, ServiceError> {
        let (yard_name, mail) = (&settings.yard.name, &settings.mail);
        // A file that went bad since the start keeps nobody from hearing.
        let own = own_phrases(settings).unwrap_or_else(|faults| {
            tracing::error!("not in the yard's own words: {}", faults.join("; "));
            None
        });
        let built_in = || Phrases::built_in().map_err(ServiceError::Phrases);
        let phrases = own.map_or_else(built_in, Ok)?;
        // Outsiders must not be able to guess what stands in real mail.
        let key = if mail.id_key_file.is_some() || mail.smtp.is_some() {
            let key = mailer.id_key(mail.id_key_file.as_deref(), &settings.store.path);
            key.map_err(ServiceError::Outside)?
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
        Ok(Self { phrases, sender, key, channel, texts: settings.text.clone() })
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
