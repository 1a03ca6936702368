//! Carries signed notes out: like letters, each to an endpoint of the settings.

use std::time::Instant;

use chrono::{DateTime, TimeDelta, Utc};

use super::wait;
use crate::app::ports::{Endpoints, Fault, NoteAnswer, Outbox, Posted, StoreError, WEBHOOKS, Wait};

/// Notes leased at a time, and for how long: each may take its whole deadline.
const BATCH: u32 = 10;
const LEASE: TimeDelta = TimeDelta::minutes(5);
/// Notes of one pass.
const MOST: usize = 200;

/// What a pass did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WebhookReport {
    /// Taken by their receivers.
    pub sent: usize,
    /// To be tried again.
    pub deferred: usize,
    /// Not tried any more: the receiver wants none, or is no longer configured.
    pub failed: usize,
    /// Why, each once, with the name of the endpoint.
    pub troubles: Vec<String>,
}

/// Sends what is due to the endpoints and notes what became of it. Like the letters: leased, the same bytes and the same id at
/// every attempt, marked before the next one goes.
///
/// # Errors
/// [`StoreError`] when the outbox cannot be read or marked; a note in hand goes again then.
pub async fn deliver_webhooks(
    store: &dyn Outbox,
    endpoints: &Endpoints,
    now: DateTime<Utc>,
    should_continue: &(dyn Fn() -> bool + Sync),
) -> Result<WebhookReport, StoreError> {
    let mut report = WebhookReport::default();
    let (started, mut begun) = (Instant::now(), 0);
    // Of an endpoint that does not take one note no other is tried in this pass: mail goes through the same loop.
    let mut tired: Vec<String> = Vec::new();
    while begun < MOST {
        let present = || now + TimeDelta::from_std(started.elapsed()).unwrap_or_default();
        let now = present();
        let due = store.lease_due(WEBHOOKS, now, BATCH, LEASE)?;
        if due.letters.is_empty() {
            break;
        }
        for letter in &due.letters {
            if !should_continue() {
                store.release(letter.id, letter.attempts)?;
                continue;
            }
            begun += 1;
            let name = letter.row.recipient.to_string();
            if tired.contains(&name) {
                let why = "waits: the endpoint has not taken the one before";
                let until = present() + wait(letter.id, letter.attempts);
                let later = Wait { until, fault: None, why };
                store.mark_deferred(letter.id, letter.attempts, &later, present())?;
                report.deferred += 1;
                continue;
            }
            if !one(store, endpoints, letter, present(), &mut report).await? {
                tired.push(name);
            }
        }
        if !should_continue() {
            break;
        }
    }
    Ok(report)
}

/// One note; says whether its endpoint can be tried with the next.
async fn one(
    store: &dyn Outbox,
    endpoints: &Endpoints,
    letter: &Posted,
    now: DateTime<Utc>,
    report: &mut WebhookReport,
) -> Result<bool, StoreError> {
    let name = letter.row.recipient.as_str();
    let endpoint = endpoints.usable.iter().find(|endpoint| endpoint.name() == name);
    let answer = match endpoint {
        Some(endpoint) => endpoint.send(letter, now).await,
        None if endpoints.named.iter().any(|known| known == name) => {
            NoteAnswer::Later { why: "it cannot be used as configured".to_owned(), after: None }
        }
        None => NoteAnswer::Gone("it is not in the configuration any more"),
    };
    let mut failed = false;
    let why = match answer {
        NoteAnswer::Taken(reply) => {
            store.mark_sent(letter.id, &reply, now)?;
            report.sent += 1;
            return Ok(true);
        }
        NoteAnswer::Gone(why) => {
            store.mark_failed(letter.id, letter.attempts, Fault::Other, why, now)?;
            report.failed += 1;
            failed = true;
            why.to_owned()
        }
        NoteAnswer::Later { why, after } => {
            let until = now + wait(letter.id, letter.attempts).max(after.unwrap_or_default());
            store.mark_deferred(
                letter.id,
                letter.attempts,
                &Wait { until, fault: None, why: &why },
                now,
            )?;
            report.deferred += 1;
            why
        }
    };
    let words = format!("webhook {name}: {why}");
    if !report.troubles.contains(&words) {
        report.troubles.push(words);
    }
    Ok(failed)
}
