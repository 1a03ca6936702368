//! How many letters stand where.

use chrono::{DateTime, Utc};

use crate::adapters::sqlite::Store;
use crate::adapters::sqlite::cached::Cached as _;
use crate::adapters::sqlite::column::Millis;
use crate::adapters::sqlite::error::Doing as _;
use crate::app::ports::{
    LetterCounts, MessageCount, OutboxState, OutboxSummary, StoreError, Waiting,
};
use crate::domain::boat::PersonId;

impl LetterCounts for Store {
    fn letters_since(
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

    fn message_counts(&self) -> Result<Vec<MessageCount>, StoreError> {
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

    fn outbox_summary(&self) -> Result<OutboxSummary, StoreError> {
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

    fn waiting(&self, before: DateTime<Utc>) -> Result<Vec<Waiting>, StoreError> {
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
