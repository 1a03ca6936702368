//! Answers of weather services that cannot be true, put aside with the reason.

use std::io::{Read as _, Write as _};

use chrono::{DateTime, Utc};
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use rusqlite::params;

use super::Store;
use super::column::Millis;
use super::error::{Doing as _, StoreError};
use crate::adapters::sqlite::cached::Cached as _;
use crate::domain::boat::SiteId;

/// Bytes of an answer that are kept: whatever is wrong with it shows in them.
pub const KEPT_BYTES: usize = 1024 * 1024;

/// An answer that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedAnswer {
    /// The service that gave it.
    pub service: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Why it cannot serve.
    pub why: String,
    /// What it was, up to [`KEPT_BYTES`].
    pub body: Vec<u8>,
}

impl Store {
    /// Puts an answer aside in place of the one that was refused before it.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn put_refused(&self, site: &SiteId, answer: &RefusedAnswer) -> Result<(), StoreError> {
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

    /// The answers put aside for a place, the newest first.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn refused(&self, site: &SiteId) -> Result<Vec<RefusedAnswer>, StoreError> {
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
