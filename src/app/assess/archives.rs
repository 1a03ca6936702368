//! Archives of past days, once read, and what they say of each thermal class.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use crate::app::error::ServiceError;
use crate::domain::physics::Liquid;
use crate::domain::risk::judge::liquid_bits;
use crate::domain::season::Hemisphere;
use crate::domain::weather::seasons::{DailyNormals, Day, Froze, PastWinter};

/// What is known of the past seasons of a place.
#[derive(Debug, Clone, PartialEq)]
pub struct PastSeasons {
    /// The file that it comes from.
    pub file: PathBuf,
    /// Whose days they are, where the file says so: a service of ours, or anybody.
    pub source: Option<String>,
    /// Days read.
    pub days: usize,
    /// When their winter falls.
    pub half: Hemisphere,
    /// What was put on the lows, K: the place's own cold at night, 0 or less.
    pub night_offset_k: f64,
    /// Whole winters, oldest first.
    pub winters: Vec<PastWinter>,
    /// Its last days as they stand in it, without the place's own cold.
    pub recent: Arc<[Day]>,
    /// Mean of each day of the year.
    pub normals: Arc<DailyNormals>,
}

/// First and last freeze of each winter.
pub type FirstFreezes = Arc<[Froze]>;

/// Archives by file, once read, and what they say of each thermal class.
#[derive(Debug, Default)]
pub struct Archives {
    pub(crate) read: Mutex<BTreeMap<(PathBuf, String, u64), Arc<PastSeasons>>>,
    freezes: Mutex<BTreeMap<PassedKey, FirstFreezes>>,
}

/// Archive, days in it, bits of the place's own cold; thermal class, bits of what is in it and of the share of ice.
type PassedKey = (PathBuf, usize, u64, String, [u64; 2], u64);

/// What is in a part, and how much of it is to be ice.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Passing {
    pub(crate) liquid: Liquid,
    pub(crate) share: f64,
}

impl Archives {
    /// What is known of a class at a place, computed if it is not.
    pub(crate) fn freezes(
        &self,
        past: &PastSeasons,
        (class, passing): (&str, Passing),
        make: impl FnOnce() -> Result<FirstFreezes, ServiceError>,
    ) -> Result<FirstFreezes, ServiceError> {
        let offset = past.night_offset_k.to_bits();
        let (liquid, share) = (liquid_bits(&passing.liquid), passing.share.to_bits());
        let key = (past.file.clone(), past.days, offset, class.to_owned(), liquid, share);
        let mut known = self.freezes.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known.get(&key) {
            return Ok(Arc::clone(found));
        }
        let made = make()?;
        known.insert(key, Arc::clone(&made));
        Ok(made)
    }
}
