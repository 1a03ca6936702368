//! Alerts as they stand, and every transition with what it was decided on.

use rusqlite::{Connection, Row, Transaction, params};

use super::Store;
use super::column::{Millis, from_json, to_json};
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{AlertFilter, AlertRecord, AlertStore, StoreError, TransitionRow};
use crate::domain::alert::Alert;
use crate::domain::boat::{BoatId, SiteId};

const COLUMNS: &str =
    "SELECT id, kind, boat, site, open, revision, raised_ms, closed_ms, document FROM alert";

impl AlertStore for Store {
    fn closed_counts(&self) -> Result<Vec<(String, String, u32)>, StoreError> {
        let doing = "counting the closed alerts";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT kind, coalesce(boat, site), count(*) FROM alert WHERE NOT open
                     GROUP BY 1, 2 ORDER BY 1, 2",
                )
                .context(doing)?;
            let rows = statement
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                .context(doing)?;
            rows.collect::<Result<_, _>>().context(doing)
        })
    }

    fn open_alerts(&self) -> Result<Vec<Alert>, StoreError> {
        self.alerts(&AlertFilter { open: Some(true), ..AlertFilter::default() })
    }

    fn alerts(&self, filter: &AlertFilter) -> Result<Vec<Alert>, StoreError> {
        self.alert_records(filter)?.iter().map(AlertRecord::alert).collect()
    }

    fn alert_records(&self, filter: &AlertFilter) -> Result<Vec<AlertRecord>, StoreError> {
        let statement = format!(
            "{COLUMNS} WHERE (?1 IS NULL OR open = ?1) AND (?2 IS NULL OR kind = ?2)
                AND (?3 IS NULL OR boat = ?3) AND (?4 IS NULL OR site = ?4) ORDER BY raised_ms, id"
        );
        let arguments = params![
            filter.open,
            filter.kind,
            filter.boat.as_ref().map(BoatId::as_str),
            filter.site.as_ref().map(SiteId::as_str),
        ];
        self.read("reading the alerts", |connection| alerts(connection, &statement, arguments))
    }

    fn last_closed(&self, kind: &str, boat: &BoatId) -> Result<Option<Alert>, StoreError> {
        let statement = format!(
            "{COLUMNS} WHERE NOT open AND kind = ?1 AND boat = ?2 ORDER BY closed_ms DESC, id LIMIT 1"
        );
        self.read("reading the last closed alert", |connection| {
            let last = alerts(connection, &statement, params![kind, boat.as_str()])?.pop();
            last.as_ref().map(AlertRecord::alert).transpose()
        })
    }

    fn alert(&self, id: &str) -> Result<Option<AlertRecord>, StoreError> {
        let statement = format!("{COLUMNS} WHERE id = ?1");
        self.read("reading an alert", |connection| {
            Ok(alerts(connection, &statement, params![id])?.pop())
        })
    }

    fn transitions(&self, alert: &str) -> Result<Vec<TransitionRow>, StoreError> {
        let doing = "reading the life of an alert";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT alert_id, revision, at_ms, change, decided_on FROM alert_log
                     WHERE alert_id = ?1 ORDER BY seq",
                )
                .context(doing)?;
            let mut rows = statement.query([alert]).context(doing)?;
            let mut found = Vec::new();
            while let Some(row) = rows.next().context(doing)? {
                let decided_on: String = row.get(4).context(doing)?;
                found.push(TransitionRow {
                    alert: row.get(0).context(doing)?,
                    revision: row.get(1).context(doing)?,
                    at: row.get::<_, Millis>(2).context(doing)?.0,
                    change: row.get(3).context(doing)?,
                    decided_on: from_json(&decided_on, doing)?,
                });
            }
            Ok(found)
        })
    }
}

fn alerts(
    connection: &Connection,
    statement: &str,
    arguments: impl rusqlite::Params,
) -> Result<Vec<AlertRecord>, StoreError> {
    let doing = "reading the alerts";
    let mut statement = connection.prepare_cached(statement).context(doing)?;
    let mut rows = statement.query(arguments).context(doing)?;
    let mut found = Vec::new();
    while let Some(row) = rows.next().context(doing)? {
        found.push(record(row, doing)?);
    }
    Ok(found)
}

fn record(row: &Row<'_>, doing: &str) -> Result<AlertRecord, StoreError> {
    let document: String = row.get(8).context(doing)?;
    Ok(AlertRecord {
        id: row.get(0).context(doing)?,
        kind: row.get(1).context(doing)?,
        boat: row.get::<_, Option<String>>(2).context(doing)?.map(BoatId::from),
        site: row.get::<_, String>(3).context(doing)?.into(),
        open: row.get(4).context(doing)?,
        revision: row.get(5).context(doing)?,
        raised_at: row.get::<_, Millis>(6).context(doing)?.0,
        closed_at: row.get::<_, Option<Millis>>(7).context(doing)?.map(|Millis(at)| at),
        document: from_json(&document, doing)?,
    })
}

pub(super) fn put_alert(tx: &Transaction<'_>, alert: &AlertRecord) -> Result<(), StoreError> {
    let doing = format!("keeping alert {}", alert.id);
    let document = to_json(&alert.document, &doing)?;
    let changed = tx
        .change(
            "INSERT INTO alert (id, kind, boat, site, open, revision, raised_ms, closed_ms, document)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)
             ON CONFLICT (id) DO UPDATE SET kind = ?2, boat = ?3, site = ?4, open = ?5, revision = ?6,
                raised_ms = ?7, closed_ms = ?8, document = ?9
             WHERE revision <= ?6",
            params![
                alert.id,
                alert.kind,
                alert.boat.as_ref().map(BoatId::as_str),
                alert.site.as_str(),
                alert.open,
                alert.revision,
                Millis(alert.raised_at),
                alert.closed_at.map(Millis),
                document,
            ],
        )
        .context(&doing)?;
    // A revision behind the one that stands was decided on a state that is gone.
    if changed == 0 { Err(StoreError::Overtaken) } else { Ok(()) }
}

pub(super) fn put_transition(tx: &Transaction<'_>, row: &TransitionRow) -> Result<(), StoreError> {
    let doing = format!("keeping a transition of alert {}", row.alert);
    let decided_on = to_json(&row.decided_on, &doing)?;
    tx.change(
        "INSERT INTO alert_log (alert_id, revision, at_ms, change, decided_on) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![row.alert, row.revision, Millis(row.at), row.change, decided_on],
    )
    .context(&doing)
    .map(drop)
}
