//! Message-IDs: the same alert, revision, reader and step give the same id for ever, so that a repeat after a stop can be
//! recognised; the key keeps outsiders from guessing them.

use std::fmt;

use chrono::{DateTime, SecondsFormat, Utc};
use data_encoding::BASE32_NOPAD;
use ring::hmac;

use crate::domain::alert::Advice;

/// Bytes of the tag that the id keeps: 120 bits are 24 letters of base32 without padding.
const KEPT: usize = 15;

/// The secret of this installation for Message-IDs. Never printed.
#[derive(Clone)]
pub struct MessageKey(hmac::Key);

impl fmt::Debug for MessageKey {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("MessageKey(..)")
    }
}

impl MessageKey {
    /// A key from secret bytes, 32 or more.
    #[must_use]
    pub fn new(secret: &[u8]) -> Self {
        Self(hmac::Key::new(hmac::HMAC_SHA256, secret))
    }

    /// The id, without angle brackets, of one letter: HMAC-SHA256 over `subject|revision|recipient|step`, its first 120
    /// bits in base32, at `domain`. The parts are length-prefixed, so that no two lists of parts read alike.
    #[must_use]
    pub fn id(
        &self,
        subject: &str,
        revision: u32,
        recipient: &str,
        step: u8,
        domain: &str,
    ) -> String {
        let message = format!(
            "{}:{subject}|{revision}|{}:{recipient}|{step}",
            subject.len(),
            recipient.len()
        );
        let tag = hmac::sign(&self.0, message.as_bytes());
        let kept = tag.as_ref().get(..KEPT).unwrap_or_default();
        format!("{}@{domain}", BASE32_NOPAD.encode(kept).to_lowercase())
    }
}

/// The id of a letter and those of the letters before it, oldest first.
pub(super) struct Ids {
    pub own: String,
    pub earlier: Vec<String>,
}

pub(super) fn of_advice(advice: &Advice, key: &MessageKey, domain: &str) -> Ids {
    let id = |revision, step| {
        key.id(advice.alert.as_str(), revision, advice.recipient.as_str(), step, domain)
    };
    // What was told in a roll-up has no letter of its own to refer to.
    let earlier = if advice.rollup.is_some() {
        Vec::new()
    } else {
        advice.earlier.iter().map(|sent| id(sent.revision, sent.step)).collect()
    };
    Ids { own: id(advice.revision, advice.step), earlier }
}

/// The id of a letter that is not about one alert: a roll-up or a worklist, by the round it was made in.
pub(super) fn of_round(
    what: &str,
    round: DateTime<Utc>,
    recipient: &str,
    key: &MessageKey,
    domain: &str,
) -> Ids {
    let subject = format!("{what} {}", round.to_rfc3339_opts(SecondsFormat::Millis, true));
    Ids { own: key.id(&subject, 0, recipient, 0, domain), earlier: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_24_letters_of_base32_and_changes_with_every_part() {
        let key = MessageKey::new(&[7; 32]);
        let base = key.id("freeze-B02-1", 1, "P02", 0, "example.org");
        assert_eq!(base, key.id("freeze-B02-1", 1, "P02", 0, "example.org"));
        let (local, domain) = base.split_once('@').unwrap();
        assert_eq!((local.len(), domain), (24, "example.org"));
        for other in [
            key.id("freeze-B02-2", 1, "P02", 0, "example.org"),
            key.id("freeze-B02-1", 2, "P02", 0, "example.org"),
            key.id("freeze-B02-1", 1, "P51", 0, "example.org"),
            key.id("freeze-B02-1", 1, "P02", 1, "example.org"),
            MessageKey::new(&[8; 32]).id("freeze-B02-1", 1, "P02", 0, "example.org"),
        ] {
            assert_ne!(base, other);
        }
    }
}
