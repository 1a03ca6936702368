//! Signed notes to other programs: what of a decision goes to them, and who they are by the settings.

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::delivery::secret::read_secret_file;
use crate::adapters::delivery::webhook::{Endpoint, SigningKey, WebhookError};
use crate::adapters::settings::Settings;
use crate::adapters::settings::webhook::{WebhookSettings, parse_url};
use crate::app::context::ServiceError;
use crate::app::notify::{Composer, Scene};
use crate::app::ports::OutboxRow;
use crate::app::ports::WEBHOOKS;
use crate::domain::alert::Decision;
use crate::domain::boat::PersonId;
use crate::domain::message::notice;

/// The step of a note: seconds of a hundred days, and the row of the table.
const SECONDS_KEPT: i64 = 100 * 86_400;
const ROWS: u32 = 32;
/// A note is of no use much later.
const KEPT: TimeDelta = TimeDelta::days(4);

/// The notes of a round: everything that is news, and that a worklist has gone out.
pub(crate) fn of_round(
    scene: &Scene<'_>,
    decided: &Decision,
    worklist_due: bool,
) -> Vec<OutboxRow> {
    let (settings, composer, now) = (&scene.app.settings, scene.composer, scene.now);
    let mut rows = notes(settings, composer, decided, now);
    if let Some(seen) = scene.seen.filter(|_| worklist_due) {
        let counts = (seen.places.len(), seen.boats.len());
        rows.extend(worklist(settings, composer, counts, now));
    }
    rows
}

/// The notes for everything of a decision that is news, to every endpoint.
pub(crate) fn notes(
    settings: &Settings,
    composer: &Composer,
    decided: &Decision,
    now: DateTime<Utc>,
) -> Vec<OutboxRow> {
    let mut rows = Vec::new();
    for transition in decided.transitions.iter().filter(|_| !settings.webhook.is_empty()) {
        let alert = decided.alerts.iter().find(|alert| alert.id == transition.alert);
        let event = alert.and_then(|alert| Some((alert, notice::event(transition, alert)?)));
        let Some((alert, event)) = event else { continue };
        let body = notice::body(event, alert, now);
        // Every move is an event of its own, also two of a kind under one revision.
        let second = transition.at.timestamp().rem_euclid(SECONDS_KEPT);
        let step = u32::try_from(second).unwrap_or(0) * ROWS + u32::from(transition.row);
        let about = alert.id.as_str();
        let closing = matches!(event, "alert.cleared" | "alert.cancelled" | "input.restored");
        let urgent = alert.condition.is_high();
        for name in settings.webhook.keys() {
            let row = blank(composer, name, (about, alert.revision, step), &body, now);
            rows.push(OutboxRow { closing, urgent, ..row });
        }
    }
    rows
}

/// The note that a worklist has gone out.
fn worklist(
    settings: &Settings,
    composer: &Composer,
    (places, boats): (usize, usize),
    now: DateTime<Utc>,
) -> Vec<OutboxRow> {
    let body = notice::worklist(now, places, boats);
    let about = format!("worklist:{}", now.timestamp());
    let names = settings.webhook.keys();
    names.map(|name| blank(composer, name, (&about, 1, 0), &body, now)).collect()
}

fn blank(
    composer: &Composer,
    name: &str,
    (about, revision, step): (&str, u32, u32),
    body: &str,
    now: DateTime<Utc>,
) -> OutboxRow {
    // The same move gives the same id for ever; no dot may stand in it.
    let id =
        composer.key.id(&format!("{about}|{step}"), revision, &format!("webhook {name}"), 0, "");
    let id = format!("msg_{}", id.trim_end_matches('@'));
    OutboxRow {
        alert: about.to_owned(),
        revision,
        recipient: PersonId::from(name),
        channel: WEBHOOKS.to_owned(),
        step,
        kind: WEBHOOKS.to_owned(),
        closing: false,
        urgent: false,
        // An event is not replaced by a later one.
        thread: id.clone(),
        message_id: id,
        // Not its url: that may hold a token of the receiver's.
        address: name.to_owned(),
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
