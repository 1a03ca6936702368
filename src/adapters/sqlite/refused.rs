//! Answers of weather services that cannot be true, put aside with the reason.

use std::io::{Read as _, Write as _};

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use rusqlite::params;

use super::Store;
use super::column::Millis;
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{KEPT_BYTES, RefusedAnswer, RefusedAnswers, StoreError};
use crate::domain::boat::SiteId;

impl RefusedAnswers for Store {
    fn put_refused(&self, site: &SiteId, answer: &RefusedAnswer) -> Result<(), StoreError> {
        let doing = "putting a refused answer aside";
        let kept = answer.body.get(..KEPT_BYTES).unwrap_or(&answer.body);
        let mut packer = GzEncoder::new(Vec::new(), Compression::default());
        let packed = packer.write_all(kept).and_then(|()| packer.finish()).unwrap_or_default();
        self.write(doing, |tx| {
            tx.change(
                "INSERT INTO refused (site, service, at_ms, why, body) VALUES (?1, ?2, ?3, ?4, ?5)
                 ON CONFLICT (site, service) DO UPDATE SET at_ms = ?3, why = ?4, body = ?5",
                params![site.as_str(), answer.service, Millis(answer.at), answer.why, packed],
            )
            .context(doing)
            .map(drop)
        })
    }

    fn refused(&self, site: &SiteId) -> Result<Vec<RefusedAnswer>, StoreError> {
        let doing = "reading the refused answers";
        self.read(doing, |connection| {
            let mut statement = connection
                .prepare_cached(
                    "SELECT service, at_ms, why, body FROM refused WHERE site = ?1 ORDER BY at_ms DESC, service",
                )
                .context(doing)?;
            let rows = statement
                .query_map(params![site.as_str()], |row| {
                    let Millis(at) = row.get(1)?;
                    let packed: Vec<u8> = row.get(3)?;
                    Ok(RefusedAnswer {
                        service: row.get(0)?,
                        at,
                        why: row.get(2)?,
                        body: unpacked(&packed),
                    })
                })
                .context(doing)?;
            rows.collect::<Result<Vec<_>, _>>().context(doing)
        })
    }
}

fn unpacked(packed: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    let most = u64::try_from(KEPT_BYTES).unwrap_or(u64::MAX);
    // What cannot be unpacked shows as far as it goes.
    let _ = GzDecoder::new(packed).take(most).read_to_end(&mut body);
    body
}
