//! Alerts and people by what is typed, and times as they are printed: for every command about alerts.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde_json::Value;

use super::CliError;
use crate::app::context::YardBook;
use crate::app::ports::AlertStore;
use crate::app::ports::{AlertFilter, AlertRecord};
use crate::domain::alert::Alert;
use crate::domain::boat::PersonId;
use crate::domain::yard::{Person, recipients};

/// The person of that id.
pub(super) fn person_by<'a>(yard: &'a YardBook, id: &str) -> Result<&'a Person, CliError> {
    yard.people.get(&PersonId::from(id)).ok_or_else(|| {
        let known: Vec<&str> = yard.people.keys().map(PersonId::as_str).collect();
        CliError::bad_input(format!("nobody is listed as {id}; the yard has {}", known.join(", ")))
    })
}

pub(super) fn find(store: &dyn AlertStore, id: &str) -> Result<AlertRecord, CliError> {
    if let Some(record) = store.alert(id)? {
        return Ok(record);
    }
    let filter = AlertFilter { open: Some(true), ..AlertFilter::default() };
    let open: Vec<String> =
        store.alert_records(&filter)?.into_iter().map(|record| record.id).collect();
    let open = if open.is_empty() { "none is open".to_owned() } else { open.join(", ") };
    Err(CliError::bad_input(format!("no alert is called {id}; open: {open}")))
}

pub(super) fn read(record: &AlertRecord) -> Result<Alert, CliError> {
    record.alert().map_err(CliError::from)
}

pub(super) fn subject(record: &AlertRecord, yard: &YardBook) -> String {
    match &record.boat {
        Some(id) => {
            let name = yard.boats.iter().find(|boat| boat.id == *id).map(|boat| boat.name.as_str());
            format!("{id} {} at {}", name.unwrap_or_default(), record.site)
        }
        None => {
            let person = record.document.pointer("/subject/person").and_then(Value::as_str);
            let person = person.and_then(|id| yard.people.get(&PersonId::from(id)));
            person.map_or_else(
                || record.site.to_string(),
                |person| format!("mail to {} {}", person.id, person.name),
            )
        }
    }
}

pub(super) fn local(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).format("%a %d %b %Y %H:%M %Z").to_string()
}

pub(super) fn rfc(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).to_rfc3339()
}

pub(super) fn shelver<'a>(
    yard: &'a YardBook,
    record: &AlertRecord,
    id: Option<&str>,
) -> Result<&'a Person, CliError> {
    if let Some(id) = id {
        return person_by(yard, id);
    }
    recipients::managers(&yard.people, &record.site).first().copied().ok_or_else(|| {
        CliError::bad_input(format!("no manager answers for {}: say who with --by", record.site))
    })
}
