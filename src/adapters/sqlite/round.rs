//! The one transaction in which a round lands: the alerts, why, and the letters that tell of it.

use crate::adapters::sqlite::cached::Cached as _;

use super::Store;
use super::alerts::{put_alert, put_transition};
use super::error::Doing as _;
use super::exposures::put_exposures;
use super::outbox::{insert_letter, insert_unsendable};
use super::separated::put_separated;
use super::status::{put_last_run, put_status};
use crate::app::ports::{Committed, RoundCommit, RoundStore, StoreError};

impl RoundStore for Store {
    fn generation(&self) -> Result<i64, StoreError> {
        let doing = "reading the generation";
        self.read(doing, |connection| {
            connection.one_row("SELECT number FROM generation", [], |row| row.get(0)).context(doing)
        })
    }

    fn commit_round(&self, round: &RoundCommit) -> Result<Committed, StoreError> {
        let doing = "committing a round";
        self.write(doing, |tx| {
            let generation: i64 = tx
                .one_row("UPDATE generation SET number = number + 1 RETURNING number", [], |row| {
                    row.get(0)
                })
                .context(doing)?;
            if round.based_on.is_some_and(|base| base + 1 != generation) {
                return Err(StoreError::Overtaken);
            }
            for alert in &round.alerts {
                put_alert(tx, alert)?;
            }
            for transition in &round.transitions {
                put_transition(tx, transition)?;
            }
            let mut queued = 0;
            for letter in &round.letters {
                queued += usize::from(insert_letter(tx, letter)?);
            }
            for letter in &round.unsendable {
                insert_unsendable(tx, letter)?;
            }
            put_exposures(tx, &round.exposures)?;
            put_separated(tx, &round.separated)?;
            for status in &round.statuses {
                put_status(tx, status)?;
            }
            for (name, at) in &round.runs {
                put_last_run(tx, name, *at)?;
            }
            Ok(Committed { generation, queued, already_queued: round.letters.len() - queued })
        })
    }

    fn others_wrote(&self) -> Result<i64, StoreError> {
        let doing = "looking whether others wrote to the store";
        self.lock().query_row("PRAGMA data_version", [], |row| row.get(0)).context(doing)
    }
}
