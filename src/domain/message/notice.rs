//! The body of a signed note to another program: what has become of an alert, in figures, without anybody's name or address.

use chrono::{DateTime, SecondsFormat, Utc};
use serde_json::{Value, json};

use super::cap::CapWords;
use crate::domain::alert::{Alert, Condition, Kind, Transition};

/// What happened, as the receiver is told; `None` for moves that are nobody's news.
#[must_use]
pub fn event(transition: &Transition, alert: &Alert) -> Option<&'static str> {
    let blind = alert.kind == Kind::Blind;
    match transition.row {
        1 | 3 | 12 if blind => Some("input.blind"),
        9 | 10 if blind => Some("input.restored"),
        1 | 3 | 12 => Some("alert.raised"),
        4 => Some("alert.acknowledged"),
        5 | 6 | 8 | 14 | 15 | 16 | 18 => Some("alert.updated"),
        // What has frozen, or is no longer followed, is not cleared.
        17 | 19 | 20 => Some("alert.updated"),
        9 | 10 | 25 if alert.known.iter().any(|known| known.frozen) => Some("alert.updated"),
        9 | 10 | 13 | 21 | 25 => Some("alert.cleared"),
        22 => Some("alert.cancelled"),
        _ => None,
    }
}

/// The body, one line of JSON: type, time, and the figures that were decided on.
#[must_use]
pub fn body(event: &str, alert: &Alert, at: DateTime<Utc>) -> String {
    let facts = alert.decided_on.as_ref();
    let lead = facts.and_then(|facts| facts.lead());
    let time = |at: DateTime<Utc>| at.to_rfc3339_opts(SecondsFormat::Secs, true);
    let cap = CapWords::of(alert, at);
    let priority = match alert.condition {
        Condition::Active { priority } => json!(priority),
        Condition::Normal => Value::Null,
    };
    json!({
        "type": event,
        "timestamp": time(at),
        "data": {
            "alert_id": alert.id,
            "revision": alert.revision,
            "kind": alert.kind,
            "state": alert.flat().as_str(),
            "priority": priority,
            "site": alert.site,
            "boat": alert.subject.boat(),
            "chance": lead.map(|row| row.chance_limit),
            "low_celsius": facts.and_then(|facts| facts.low).map(|low| low.median_c),
            "first_danger": facts.and_then(|facts| facts.first_danger).map(time),
            "latest_start": facts.and_then(|facts| facts.latest_start).map(time),
            "cap": {
                "msgType": cap.message_type,
                "responseType": cap.response,
                "urgency": cap.urgency,
                "severity": cap.severity,
                "certainty": cap.certainty,
            },
        },
    })
    .to_string()
}

/// The body for a worklist that has gone out.
#[must_use]
pub fn worklist(at: DateTime<Utc>, places: usize, boats: usize) -> String {
    json!({
        "type": "worklist.published",
        "timestamp": at.to_rfc3339_opts(SecondsFormat::Secs, true),
        "data": { "places": places, "boats": boats },
    })
    .to_string()
}
