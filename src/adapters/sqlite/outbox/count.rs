//! How many letters stand where.

use chrono::{DateTime, Utc};

use super::OutboxState;
use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::{Doing as _, StoreError};
use crate::domain::boat::PersonId;

/// Letters of one kind to one person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessageCount {
    /// The person.
    pub recipient: PersonId,
    /// Kind of letter.
    pub kind: String,
    /// Accepted by the server.
    pub sent: u32,
    /// Still to send.
    pub waiting: u32,
    /// Refused for good.
    pub failed: u32,
    /// Expired or superseded before they went.
    pub dropped: u32,
}

/// The outbox at a glance.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OutboxSummary {
    /// Letters by state; states without letters are left out.
    pub states: Vec<(OutboxState, u32)>,
    /// When the oldest letter that still has to go was queued.
    pub oldest_waiting: Option<DateTime<Utc>>,
    /// When the next attempt is due.
    pub next_due: Option<DateTime<Utc>>,
}

impl OutboxSummary {
    /// How many letters are in a state.
    #[must_use]
    pub fn count(&self, state: OutboxState) -> u32 {
        self.states.iter().find(|(found, _)| *found == state).map_or(0, |(_, count)| *count)
    }
}

/// A letter that still has to go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// The alert, or what else it is about.
    pub alert: String,
    /// Whom it is for.
    pub recipient: PersonId,
    /// The way out.
    pub channel: String,
    /// Does it go before others?
    pub urgent: bool,
    /// Since when it waits.
    pub queued_at: DateTime<Utc>,
    /// How often somebody began to send it.
    pub attempts: u32,
    /// Why it did not go, in the server's words or ours.
    pub why: Option<String>,
}

impl Store {
    /// Who was written to since then, about which alert (or other matter), and when it was decided; what was dropped
    /// before it went does not count.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn letters_since(
        &self,
        since: DateTime<Utc>,
    ) -> Result<Vec<(PersonId, String, DateTime<Utc>)>, StoreError> {
        let doing = "reading the letters of the last hours";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT recipient, alert_id, queued_ms FROM outbox
                     WHERE queued_ms > ?1 AND state NOT IN ('expired', 'superseded', 'failed')
                     AND kind NOT IN ('worklist', 'opening', 'aging', 'text', 'webhook') ORDER BY id",
                )
                .context(doing)?;
            let rows = statement
                .query_map([Millis(since)], |row| {
                    let recipient: String = row.get(0)?;
                    let Millis(at) = row.get(2)?;
                    Ok((PersonId::from(recipient), row.get(1)?, at))
                })
                .context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }

    /// Letters per person and kind, in that order.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn message_counts(&self) -> Result<Vec<MessageCount>, StoreError> {
        let doing = "counting the letters";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT recipient, kind, sum(state = 'sent'), sum(state IN ('queued', 'leased', 'deferred')),
                        sum(state = 'failed'), sum(state IN ('expired', 'superseded'))
                     FROM outbox GROUP BY recipient, kind ORDER BY recipient, kind",
                )
                .context(doing)?;
            let rows = statement
                .query_map([], |row| {
                    Ok(MessageCount {
                        recipient: row.get::<_, String>(0)?.into(),
                        kind: row.get(1)?,
                        sent: row.get(2)?,
                        waiting: row.get(3)?,
                        failed: row.get(4)?,
                        dropped: row.get(5)?,
                    })
                })
                .context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }

    /// Letters by state, the oldest that waits, the next attempt.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn outbox_summary(&self) -> Result<OutboxSummary, StoreError> {
        let doing = "counting the letters";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached("SELECT state, count(*) FROM outbox GROUP BY state ORDER BY state")
                .context(doing)?;
            let rows = statement
                .query_map([], |row| Ok((row.get::<_, String>(0)?, row.get(1)?)))
                .context(doing)?;
            let mut states = Vec::new();
            for row in rows {
                let (state, count) = row.context(doing)?;
                states.extend(OutboxState::parse(&state).map(|state| (state, count)));
            }
            let (oldest, next) = connection
                .one_row(
                    "SELECT min(queued_ms), min(coalesce(lease_until_ms, due_ms)) FROM outbox
                     WHERE state IN ('queued', 'leased', 'deferred')",
                    [],
                    |row| Ok((row.get::<_, Option<Millis>>(0)?, row.get::<_, Option<Millis>>(1)?)),
                )
                .context(doing)?;
            Ok(OutboxSummary {
                states,
                oldest_waiting: oldest.map(|Millis(at)| at),
                next_due: next.map(|Millis(at)| at),
            })
        })
    }

    /// Letters queued before `before` that still have to go, oldest first: for saying that somebody cannot be reached.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn waiting(&self, before: DateTime<Utc>) -> Result<Vec<Waiting>, StoreError> {
        let doing = "reading the letters that wait";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT alert_id, recipient, channel, urgent, queued_ms, attempts, answer FROM outbox
                     WHERE state IN ('queued', 'leased', 'deferred') AND queued_ms < ?1 ORDER BY queued_ms, id",
                )
                .context(doing)?;
            let rows = statement
                .query_map([Millis(before)], |row| {
                    Ok(Waiting {
                        alert: row.get(0)?,
                        recipient: row.get::<_, String>(1)?.into(),
                        channel: row.get(2)?,
                        urgent: row.get(3)?,
                        queued_at: row.get::<_, Millis>(4)?.0,
                        attempts: row.get(5)?,
                        why: row.get(6)?,
                    })
                })
                .context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }
}
