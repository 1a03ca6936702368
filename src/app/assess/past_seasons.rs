//! Past seasons of the places: the archives that the configuration names, read once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use crate::app::context::{AppContext, ServiceError};
use crate::app::ports::{ArchivedDays, DayArchive};
use crate::domain::physics::Liquid;
use crate::domain::physics::part::thermal_class;
use crate::domain::risk::judge::liquid_bits;
use crate::domain::season::Hemisphere;
use crate::domain::weather::seasons::{
    DAMAGING_SHARE, DailyNormals, Froze, PastWinter, hemisphere, water_in, winters,
};
use crate::domain::yard::Site;

/// Fewer winters say too little.
pub const WINTERS_LEAST: usize = 5;

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
    /// Mean of each day of the year.
    pub normals: DailyNormals,
}

/// First and last freeze of each winter.
pub type FirstFreezes = Arc<[Froze]>;

/// Archives by file, once read, and what they say of each thermal class.
#[derive(Debug, Default)]
pub struct Archives {
    read: Mutex<BTreeMap<(PathBuf, String, u64), Arc<PastSeasons>>>,
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

impl PastSeasons {
    /// Reads an archive; in a table with a `station` column only the rows of `station` count, where there are any.
    ///
    /// `night_offset_k` is the place's own cold on clear calm nights, as for the forecast; an archive does not say which
    /// nights those were, so that all lows get it: the cold side. A place that is warmer gets no credit.
    ///
    /// # Errors
    /// [`ServiceError::Told`]: a file that cannot be read, or too few winters in it.
    pub fn read(
        archive: &dyn DayArchive,
        (file, station): (&Path, &str),
        night_offset_k: f64,
    ) -> Result<Self, ServiceError> {
        let name = file.display();
        let told = |words: String| ServiceError::Told(format!("{name}: {words}"));
        let ArchivedDays { mut days, source } =
            archive.read(file, station).map_err(|error| told(error.to_string()))?;
        let night_offset_k = night_offset_k.min(0.0);
        for day in &mut days {
            day.low_c += night_offset_k;
        }
        let winters = winters(&days);
        if winters.len() < WINTERS_LEAST {
            return Err(told(format!(
                "has {} complete winters for {station}; {WINTERS_LEAST} at least say something",
                winters.len()
            )));
        }
        Ok(Self {
            file: file.into(),
            source,
            days: days.len(),
            half: hemisphere(&days),
            night_offset_k,
            normals: DailyNormals::of(&days),
            winters,
        })
    }
}

impl AppContext {
    /// The past seasons of a place; `None` where the configuration names no archive for it.
    ///
    /// # Errors
    /// As [`PastSeasons::read`].
    pub fn past_seasons(&self, site: &Site) -> Result<Option<Arc<PastSeasons>>, ServiceError> {
        let id = site.id.as_str();
        let Some(file) = self.settings.season.archive_of(id) else { return Ok(None) };
        let key = (file.to_path_buf(), id.to_owned(), site.clear_night_k().to_bits());
        let mut known = self.archives.read.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known.get(&key) {
            return Ok(Some(Arc::clone(found)));
        }
        let read =
            Arc::new(PastSeasons::read(&*self.day_archive, (file, id), site.clear_night_k())?);
        known.insert(key, Arc::clone(&read));
        Ok(Some(read))
    }

    /// First and last freeze of each past winter for a thermal class full of fresh water, computed once.
    ///
    /// # Errors
    /// A hole in the tables.
    pub(crate) fn first_and_last(
        &self,
        past: &PastSeasons,
        class: &str,
    ) -> Result<FirstFreezes, ServiceError> {
        let water = Passing { liquid: Liquid::FreshWater, share: DAMAGING_SHARE };
        self.passed(past, class, water)
    }

    /// First and last day of each past winter on which so much of what is in a thermal class was ice, computed once.
    ///
    /// # Errors
    /// A hole in the tables.
    pub(crate) fn passed(
        &self,
        past: &PastSeasons,
        class: &str,
        passing: Passing,
    ) -> Result<FirstFreezes, ServiceError> {
        self.archives.freezes(past, (class, passing), || {
            let class =
                thermal_class(class).map_err(|error| ServiceError::Told(error.to_string()))?;
            let part = water_in(class, &passing.liquid);
            let froze = |winter: &PastWinter| {
                let found = part.as_ref().and_then(|part| winter.part_past(part, passing.share));
                (winter.start, found)
            };
            Ok(past.winters.iter().map(froze).collect())
        })
    }
}
