//! From the configuration to the programs that want signed notes.

use thiserror::Error;

use crate::adapters::delivery::secret::{SecretError, read_secret_file};
use crate::adapters::delivery::webhook::{Receiver, SigningKey, WebhookError};
use crate::adapters::settings::webhook::parse_url;
use crate::app::ports::Endpoints;
use crate::app::settings::Settings;
use crate::app::settings::webhook::WebhookSettings;

/// Why an endpoint is not used.
#[derive(Debug, Error)]
enum EndpointError {
    #[error("{0}")]
    Url(String),
    #[error(transparent)]
    Secret(#[from] SecretError),
    #[error(transparent)]
    Receiver(#[from] WebhookError),
}

/// The endpoints that can be used, and what is wrong with the others.
#[must_use]
pub fn endpoints(settings: &Settings) -> Endpoints {
    let named = settings.webhook.keys().cloned().collect();
    let mut found = Endpoints { named, ..Endpoints::default() };
    for (name, hook) in &settings.webhook {
        match endpoint(name, hook) {
            Ok(endpoint) => found.usable.push(Box::new(endpoint)),
            Err(error) => found.troubles.push(format!("webhook {name}: {error}")),
        }
    }
    found
}

fn endpoint(name: &str, hook: &WebhookSettings) -> Result<Receiver, EndpointError> {
    let url = parse_url(&hook.url, hook.reach_private).map_err(EndpointError::Url)?;
    let files = std::iter::once(&hook.secret_file).chain(&hook.previous_secret_file);
    let mut keys = Vec::new();
    for file in files {
        let secret = read_secret_file(file)?;
        let wrong = || WebhookError::Secret { name: name.to_owned() };
        keys.push(SigningKey::parse(&secret).ok_or_else(wrong)?);
    }
    Ok(Receiver::new(name, url, keys, hook.reach_private)?)
}
