//! What a person does to an alert by hand: answered, put aside, taken out, taken back.

use chrono::{DateTime, Utc};

use super::rows::{record_of, transition_rows};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::Composer;
use crate::app::notify::webhooks;
use crate::app::ports::{AlertRecord, RoundCommit};
use crate::domain::alert::{Alert, Decision, Transition};
use crate::domain::boat::PersonId;

/// What somebody does to an alert by hand: the document after it and the row of its log.
pub type ByHand<'a, E> = &'a dyn Fn(&Alert, Option<&PersonId>) -> Result<(Alert, Transition), E>;

/// Lands what a person does to an alert; the boat's owner is handed in. The answer is the change in words.
///
/// # Errors
/// The store's, an alert document that cannot be read, or what `act` answers (the inner one); nothing has changed then.
pub fn by_hand<E>(
    house: &AppContext,
    record: &AlertRecord,
    act: ByHand<'_, E>,
    now: DateTime<Utc>,
) -> Result<Result<String, E>, ServiceError> {
    let based_on = house.store.generation()?;
    let Some(record) = house.store.alert(&record.id)? else {
        return Err(ServiceError::AlertGone { id: record.id.clone() });
    };
    let alert = record.alert()?;
    let boats = house.store.boats()?;
    let boat = record.boat.and_then(|id| boats.into_iter().find(|boat| boat.id == id));
    let (next, transition) = match act(&alert, boat.as_ref().and_then(|boat| boat.owner.as_ref())) {
        Ok(done) => done,
        Err(error) => return Ok(Err(error)),
    };
    let decision =
        Decision { alerts: vec![next], transitions: vec![transition], ..Decision::default() };
    let mut commit = RoundCommit {
        based_on: Some(based_on),
        transitions: transition_rows(&decision)?,
        ..RoundCommit::default()
    };
    for alert in &decision.alerts {
        commit.alerts.push(record_of(alert, now)?);
    }
    if !house.settings.webhook.is_empty() {
        commit.letters = webhooks::notes(
            &house.settings,
            &Composer::of(&house.settings, &*house.mailer)?,
            &decision,
            now,
        );
    }
    house.store.commit_round(&commit)?;
    Ok(Ok(commit.transitions.pop().map_or_else(String::new, |row| row.change)))
}
