//! Signed notes to other programs, after Standard Webhooks 1.0.0: one POST for each, the same id at every attempt, signed over
//! id, time and the body byte for byte.

pub mod guard;

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use data_encoding::BASE64;
use reqwest::header::{CONTENT_TYPE, HeaderMap, RETRY_AFTER};
use reqwest::redirect::Policy;
use reqwest::{Client, StatusCode, Url};
use ring::hmac;
use thiserror::Error;

use super::secret::Secret;
use crate::app::ports::{Endpoint, NoteAnswer, Pending, Posted};
use guard::{Guard, Reach, forbidden};

/// The specification asks for 15 to 30 s; a receiver that needs longer works while we wait.
const DEADLINE: Duration = Duration::from_secs(15);
const CONNECT_DEADLINE: Duration = Duration::from_secs(5);
/// What is read of an answer, so that the connection can be used again; it is never shown.
const ANSWER_BYTES: usize = 4096;
/// A receiver may ask for a later attempt, by so much at most.
const RETRY_AFTER_MOST: TimeDelta = TimeDelta::hours(1);
/// Before the secret, as receivers are given it.
const SECRET_MARK: &str = "whsec_";
/// Bytes of a secret by the specification.
const SECRET_BYTES: std::ops::RangeInclusive<usize> = 24..=64;

/// What keeps an endpoint from being used.
#[derive(Debug, Error)]
pub enum WebhookError {
    /// The secret is none by the specification.
    #[error(
        "the secret of webhook {name} is not {SECRET_MARK} and 24 to 64 bytes in base64: make one with  echo {SECRET_MARK}$(head -c 32 /dev/urandom | base64)"
    )]
    Secret {
        /// Which endpoint.
        name: String,
    },
    /// The client could not be made.
    #[error("making the client of webhook {name}: {source}")]
    Client {
        /// Which endpoint.
        name: String,
        /// What the library says.
        #[source]
        source: reqwest::Error,
    },
}

/// The signing key of an endpoint.
#[derive(Debug, Clone)]
pub struct SigningKey(hmac::Key);

impl SigningKey {
    /// From `whsec_` and base64.
    #[must_use]
    pub fn parse(secret: &Secret) -> Option<Self> {
        let bytes = BASE64.decode(secret.expose().strip_prefix(SECRET_MARK)?.as_bytes()).ok()?;
        SECRET_BYTES.contains(&bytes.len()).then(|| Self(hmac::Key::new(hmac::HMAC_SHA256, &bytes)))
    }

    /// `v1,` and the signature over `id.timestamp.body`.
    #[must_use]
    pub fn sign(&self, id: &str, timestamp: i64, body: &[u8]) -> String {
        let mut context = hmac::Context::with_key(&self.0);
        context.update(format!("{id}.{timestamp}.").as_bytes());
        context.update(body);
        format!("v1,{}", BASE64.encode(context.sign().as_ref()))
    }
}

/// One receiver.
#[derive(Debug)]
pub struct Receiver {
    name: String,
    url: Url,
    keys: Vec<SigningKey>,
    client: Client,
    reach: Reach,
}

impl Endpoint for Receiver {
    fn name(&self) -> &str {
        &self.name
    }

    fn send<'a>(&'a self, note: &'a Posted, now: DateTime<Utc>) -> Pending<'a, NoteAnswer> {
        Box::pin(self.post(note, now))
    }
}

impl Receiver {
    /// With the keys that sign, the present one first.
    ///
    /// # Errors
    /// [`WebhookError`].
    pub fn new(
        name: &str,
        url: Url,
        keys: Vec<SigningKey>,
        reach_private: bool,
    ) -> Result<Self, WebhookError> {
        let reach = match (reach_private, url.scheme()) {
            (false, _) => Reach::Public,
            // Without TLS a note goes no further than the own network.
            (true, "http") => Reach::Private,
            (true, _) => Reach::Both,
        };
        let client = Client::builder()
            .redirect(Policy::none())
            .no_proxy()
            .connect_timeout(CONNECT_DEADLINE)
            .timeout(DEADLINE)
            .dns_resolver(Arc::new(Guard { reach }))
            .user_agent(concat!("rimeward/", env!("CARGO_PKG_VERSION")))
            .build()
            .map_err(|source| WebhookError::Client { name: name.to_owned(), source })?;
        Ok(Self { name: name.to_owned(), url, keys, client, reach })
    }

    async fn post(&self, letter: &Posted, now: DateTime<Utc>) -> NoteAnswer {
        // An address that stands in the url itself asks no resolver.
        if let Some(why) = literal(&self.url).and_then(|at| forbidden(at, self.reach)) {
            return NoteAnswer::Later { why, after: None };
        }
        let (id, timestamp) = (&letter.row.message_id, now.timestamp());
        let signatures: Vec<String> =
            self.keys.iter().map(|key| key.sign(id, timestamp, &letter.row.bytes)).collect();
        let request = self
            .client
            .post(self.url.clone())
            .header(CONTENT_TYPE, "application/json")
            .header("webhook-id", id.as_str())
            .header("webhook-timestamp", timestamp.to_string())
            .header("webhook-signature", signatures.join(" "))
            .body(letter.row.bytes.clone());
        match request.send().await {
            Ok(mut answer) => {
                let (status, after) = (answer.status(), retry_after(answer.headers()));
                let mut read = 0;
                while read < ANSWER_BYTES {
                    match answer.chunk().await {
                        Ok(Some(chunk)) => read += chunk.len(),
                        _ => break,
                    }
                }
                told(status, after)
            }
            Err(error) => NoteAnswer::Later { why: without_url(&error), after: None },
        }
    }
}

fn told(status: StatusCode, after: Option<TimeDelta>) -> NoteAnswer {
    match status {
        status if status.is_success() => NoteAnswer::Taken(status.to_string()),
        StatusCode::GONE => NoteAnswer::Gone("the receiver answered 410: it wants no more of them"),
        status => NoteAnswer::Later { why: format!("the receiver answered {status}"), after },
    }
}

/// Seconds of a `Retry-After`, bounded.
fn retry_after(headers: &HeaderMap) -> Option<TimeDelta> {
    let seconds = headers.get(RETRY_AFTER)?.to_str().ok()?.trim().parse().ok()?;
    TimeDelta::try_seconds(seconds).map(|after| after.clamp(TimeDelta::zero(), RETRY_AFTER_MOST))
}

/// An error of the client with its causes and without the address, which may hold a token.
fn without_url(error: &reqwest::Error) -> String {
    let mut words =
        if error.is_timeout() { "it took too long" } else { "it could not be reached" }.to_owned();
    let mut cause = std::error::Error::source(error);
    while let Some(error) = cause {
        words += &format!(": {error}");
        cause = error.source();
    }
    words
}

fn literal(url: &Url) -> Option<std::net::IpAddr> {
    let host = url.host_str()?;
    host.trim_start_matches('[').trim_end_matches(']').parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A vector made by our own rule from the specification's text; computed with Python's hmac and base64.
    #[test]
    fn a_note_is_signed_over_id_time_and_body() {
        let secret = Secret::new("whsec_AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyA=".to_owned());
        let key = SigningKey::parse(&secret).unwrap();
        let body = br#"{"type":"alert.raised","timestamp":"2027-11-04T11:10:00Z","data":{"alert_id":"a-0001","revision":1}}"#;
        assert_eq!(
            key.sign("msg_a0001r1e7", 1_825_326_600, body),
            "v1,s/ZFMgFOJvWCvZXrTOvDMsFsm6bkUmwuObqcvkJX0yw="
        );
        for wrong in ["AQIDBAUGBwgJ", "whsec_AQID", "whsec_???", ""] {
            assert!(SigningKey::parse(&Secret::new(wrong.to_owned())).is_none(), "{wrong}");
        }
    }
}
