//! Alerts: the list, and one alert whole with its moves and letters.

use chrono_tz::Tz;
use serde::Serialize;
use serde_json::Value;

use super::local;
use crate::domain::alert::{Alert, Flat};
use crate::domain::boat::{BoatId, PersonId, SiteId};
use crate::domain::risk::Priority;

/// All alerts of a list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlertsView {
    /// Oldest first.
    pub alerts: Vec<AlertRow>,
}

/// One alert of a list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlertRow {
    /// Its id.
    pub id: String,
    /// `freeze`, `blind` ...
    pub kind: String,
    /// The boat, unless it is about a place or a person.
    pub boat: Option<BoatId>,
    /// The place.
    pub site: SiteId,
    /// The flat name of its state.
    pub state: &'static str,
    /// Not closed.
    pub open: bool,
    /// How pressing it was when it was last told.
    pub priority: Option<Priority>,
    /// Its revision.
    pub revision: u32,
    /// When it was raised.
    pub raised: String,
    /// When it was closed.
    pub closed: Option<String>,
    /// Who was told.
    pub told: Vec<PersonId>,
}

impl AlertRow {
    /// Of an alert; `raised` and `closed` as the store keeps them.
    #[must_use]
    pub fn of(alert: &Alert, (raised, closed): (String, Option<String>)) -> Self {
        let flat: Flat = alert.flat();
        Self {
            id: alert.id.to_string(),
            kind: alert.kind.as_str().to_owned(),
            boat: alert.subject.boat().cloned(),
            site: alert.site.clone(),
            state: flat.as_str(),
            open: alert.closed.is_none(),
            priority: alert.decided_on.as_ref().map(|facts| facts.priority),
            revision: alert.revision,
            raised,
            closed,
            told: alert.told.keys().cloned().collect(),
        }
    }
}

/// One alert, whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlertView {
    /// Its id.
    pub id: String,
    /// The flat name of its state.
    pub state: &'static str,
    /// The document as it is kept.
    pub alert: Value,
    /// Its moves, oldest first.
    pub transitions: Vec<MoveLine>,
    /// Its letters, oldest first.
    pub letters: Vec<LetterLine>,
}

/// One move.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MoveLine {
    /// When.
    pub at: String,
    /// The revision that it led to.
    pub revision: u32,
    /// From which state to which.
    pub change: String,
}

impl MoveLine {
    /// In the clock of the place.
    #[must_use]
    pub fn of(at: chrono::DateTime<chrono::Utc>, revision: u32, change: &str, zone: Tz) -> Self {
        Self { at: local(at, zone), revision, change: change.to_owned() }
    }
}

/// One letter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LetterLine {
    /// To whom.
    pub recipient: PersonId,
    /// What has become of it.
    pub state: &'static str,
    /// How often it was tried.
    pub attempts: u32,
    /// When it entered the outbox.
    pub queued: String,
    /// Its Message-ID.
    pub message_id: String,
    /// Its subject.
    pub subject: String,
    /// What the server said.
    pub answer: Option<String>,
}

/// Why an alert is as it is: every decision about it, with what it was decided on, as that was stored then.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReasonsView {
    /// Its id.
    pub id: String,
    /// Its decisions, oldest first.
    pub transitions: Vec<DecisionLine>,
}

/// One decision.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DecisionLine {
    /// When.
    pub at: String,
    /// The revision that it led to.
    pub revision: u32,
    /// From which state to which.
    pub change: String,
    /// The numbers, texts and versions that it rests on.
    pub decided_on: Value,
}

/// The letters to owners that wait for the yard to look at them first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HeldView {
    /// In the order in which they entered the outbox.
    pub letters: Vec<HeldLine>,
}

/// A letter that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HeldLine {
    /// Its number in the outbox.
    pub letter: i64,
    /// The alert that it tells of.
    pub alert: String,
    /// Whom it is for.
    pub recipient: PersonId,
    /// Its subject.
    pub subject: String,
    /// When it goes by itself.
    pub goes: String,
    /// Until when it can be held at most.
    pub most: String,
    /// Who of the yard has held it longer.
    pub by: Option<PersonId>,
    /// Why.
    pub why: Option<String>,
}
