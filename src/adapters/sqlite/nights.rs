//! Lows and highs of the places' own thermometers, kept as they were read.

use chrono::{DateTime, Utc};
use rusqlite::params;

use super::Store;
use super::column::Millis;
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{NightStore, StoreError};
use crate::domain::boat::SiteId;
use crate::domain::weather::learned::ReadNight;

impl NightStore for Store {
    fn put_nights(&self, nights: &[ReadNight], now: DateTime<Utc>) -> Result<usize, StoreError> {
        let doing = "keeping the nights of a thermometer";
        self.write(doing, |tx| {
            let mut kept = 0;
            for night in nights {
                let (site, morning) = (night.site.as_str(), night.morning.to_string());
                let added = tx
                    .change(
                        "INSERT INTO night (site, morning, entered_ms, low_c, high_c)
                         SELECT ?1, ?2, ?3, ?4, ?5 WHERE NOT EXISTS (
                            SELECT 1 FROM night WHERE site = ?1 AND morning = ?2
                                AND low_c = ?4 AND high_c IS ?5 AND entered_ms =
                                (SELECT max(entered_ms) FROM night WHERE site = ?1 AND morning = ?2))",
                        params![site, morning, Millis(now), night.low_c, night.high_c],
                    )
                    .context(doing)?;
                kept += added;
            }
            Ok(kept)
        })
    }

    fn nights(&self, site: &SiteId, known_at: DateTime<Utc>) -> Result<Vec<ReadNight>, StoreError> {
        let doing = "reading the nights of a thermometer";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT morning, low_c, high_c FROM night AS own WHERE site = ?1 AND entered_ms =
                        (SELECT max(entered_ms) FROM night WHERE site = own.site
                            AND morning = own.morning AND entered_ms <= ?2)
                     ORDER BY morning",
                )
                .context(doing)?;
            let rows = statement
                .query_map(params![site.as_str(), Millis(known_at)], |row| {
                    Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?))
                })
                .context(doing)?;
            let mut found = Vec::new();
            for row in rows {
                let (morning, low_c, high_c) = row.context(doing)?;
                let morning = morning.parse().map_err(|_| StoreError::Damaged {
                    doing: doing.to_owned(),
                    what: format!("{morning} is no day"),
                })?;
                found.push(ReadNight { site: site.clone(), morning, low_c, high_c });
            }
            Ok(found)
        })
    }
}
