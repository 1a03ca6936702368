//! Alerts and their moves as the store keeps them.

use chrono::{DateTime, Utc};

use crate::app::context::ServiceError;
use crate::app::ports::{AlertRecord, TransitionRow};
use crate::domain::alert::{Alert, Decision};

/// A decided alert as the store keeps it.
///
/// # Errors
/// [`ServiceError::Document`] if it cannot be written as JSON.
pub fn record_of(alert: &Alert, now: DateTime<Utc>) -> Result<AlertRecord, ServiceError> {
    Ok(AlertRecord {
        id: alert.id.to_string(),
        kind: alert.kind.as_str().to_owned(),
        boat: alert.subject.boat().cloned(),
        site: alert.site.clone(),
        open: alert.closed.is_none(),
        revision: alert.revision,
        raised_at: alert.raised_at.or(alert.rising.map(|seen| seen.at)).unwrap_or(now),
        closed_at: alert.closed.as_ref().map(|closing| closing.at),
        document: as_json(alert)?,
    })
}

/// The transitions of a decision as the store keeps them, with everything that they were decided on.
///
/// # Errors
/// [`ServiceError::Document`] if one cannot be written as JSON.
pub fn transition_rows(decision: &Decision) -> Result<Vec<TransitionRow>, ServiceError> {
    decision
        .transitions
        .iter()
        .map(|transition| {
            let alert = decision.alerts.iter().find(|alert| alert.id == transition.alert);
            let looked = decision.looked.iter().find(|(id, _)| *id == transition.alert);
            // What a person did by hand rests on what stood then.
            let facts = looked
                .map(|(_, facts)| facts)
                .or_else(|| alert.and_then(|alert| alert.decided_on.as_ref()));
            Ok(TransitionRow {
                alert: transition.alert.to_string(),
                revision: alert.map_or(0, |alert| alert.revision),
                at: transition.at,
                change: format!("{} to {}", transition.from.as_str(), transition.to.as_str()),
                decided_on: as_json(&serde_json::json!({
                    "transition": transition,
                    "facts": facts,
                }))?,
            })
        })
        .collect()
}

fn as_json(value: &impl serde::Serialize) -> Result<serde_json::Value, ServiceError> {
    serde_json::to_value(value)
        .map_err(|source| ServiceError::Document { what: "a decision", source })
}
