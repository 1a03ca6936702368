//! Signed notes to other programs: what of a decision goes to them.

use chrono::{DateTime, TimeDelta, Utc};

use super::composer::Composer;
use super::scene::Scene;
use crate::app::ports::{OutboxRow, WEBHOOKS};
use crate::app::settings::Settings;
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
