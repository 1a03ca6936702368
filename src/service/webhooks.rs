//! Signed notes to other programs: what of a decision goes to them, and who they are by the settings.

use chrono::{DateTime, TimeDelta, Utc};

use super::house::ServiceError;
use super::letters::Desk;
use crate::delivery::secret::read_secret_file;
use crate::delivery::webhook::{Endpoint, SigningKey, WebhookError};
use crate::domain::alert::{Alert, Decision};
use crate::domain::boat::PersonId;
use crate::domain::message::notice;
use crate::settings::Settings;
use crate::settings::webhook::{WebhookSettings, parse_url};
use crate::store::OutboxRow;
use crate::store::outbox::WEBHOOKS;

/// A note is of no use much later.
const KEPT: TimeDelta = TimeDelta::days(4);

/// The notes for everything of a decision that is news, to every endpoint.
pub(super) fn notes(
    settings: &Settings,
    desk: &Desk,
    decided: &Decision,
    now: DateTime<Utc>,
) -> Vec<OutboxRow> {
    let mut rows = Vec::new();
    for transition in decided.transitions.iter().filter(|_| !settings.webhook.is_empty()) {
        let alert = decided.alerts.iter().find(|alert| alert.id == transition.alert);
        let event = alert.and_then(|alert| Some((alert, notice::event(transition, alert)?)));
        let Some((alert, event)) = event else { continue };
        let body = notice::body(event, alert, now);
        let (about, step) = (alert.id.as_str(), u32::from(transition.row));
        let closing = matches!(event, "alert.cleared" | "alert.cancelled" | "input.restored");
        let urgent = alert.condition.is_high();
        for name in settings.webhook.keys() {
            let row = row((settings, desk), name, (about, alert, step), &body, now);
            rows.push(OutboxRow { closing, urgent, ..row });
        }
    }
    rows
}

/// The note that a worklist has gone out.
pub(super) fn worklist(
    settings: &Settings,
    desk: &Desk,
    (places, boats): (usize, usize),
    now: DateTime<Utc>,
) -> Vec<OutboxRow> {
    let body = notice::worklist(now, places, boats);
    let about = format!("worklist:{}", now.timestamp());
    let names = settings.webhook.keys();
    names.map(|name| blank((settings, desk), name, (&about, 1, 0), &body, now)).collect()
}

fn row(
    of: (&Settings, &Desk),
    name: &str,
    (about, alert, step): (&str, &Alert, u32),
    body: &str,
    now: DateTime<Utc>,
) -> OutboxRow {
    blank(of, name, (about, alert.revision, step), body, now)
}

fn blank(
    (settings, desk): (&Settings, &Desk),
    name: &str,
    (about, revision, step): (&str, u32, u32),
    body: &str,
    now: DateTime<Utc>,
) -> OutboxRow {
    // The same move gives the same id for ever; no dot may stand in it.
    let number = u8::try_from(step).unwrap_or(u8::MAX);
    let id = desk.key.id(about, revision, &format!("webhook {name}"), number, "");
    OutboxRow {
        alert: about.to_owned(),
        revision,
        recipient: PersonId::from(name),
        channel: WEBHOOKS.to_owned(),
        step,
        kind: WEBHOOKS.to_owned(),
        closing: false,
        urgent: false,
        thread: about.to_owned(),
        message_id: format!("msg_{}", id.trim_end_matches('@')),
        address: settings.webhook.get(name).map_or_else(String::new, |hook| hook.url.clone()),
        return_path: String::new(),
        subject: String::new(),
        bytes: body.as_bytes().to_vec(),
        queued_at: now,
        due_at: now,
        expires_at: now + KEPT,
        held: None,
    }
}

/// The endpoints that can be used, and what is wrong with the others.
#[must_use]
pub fn endpoints(settings: &Settings) -> (Vec<Endpoint>, Vec<String>) {
    let (mut found, mut troubles) = (Vec::new(), Vec::new());
    for (name, hook) in &settings.webhook {
        match endpoint(name, hook) {
            Ok(endpoint) => found.push(endpoint),
            Err(error) => troubles.push(format!("webhook {name}: {error}")),
        }
    }
    (found, troubles)
}

fn endpoint(name: &str, hook: &WebhookSettings) -> Result<Endpoint, ServiceError> {
    let told = |error: &dyn std::error::Error| ServiceError::Told(error.to_string());
    let url = parse_url(&hook.url, hook.reach_private).map_err(ServiceError::Told)?;
    let files = std::iter::once(&hook.secret_file).chain(&hook.previous_secret_file);
    let mut keys = Vec::new();
    for file in files {
        let secret = read_secret_file(file).map_err(|error| told(&error))?;
        let wrong = || WebhookError::Secret { name: name.to_owned() };
        keys.push(SigningKey::parse(&secret).ok_or_else(wrong).map_err(|error| told(&error))?);
    }
    Endpoint::new(name, url, keys, hook.reach_private).map_err(|error| told(&error))
}
