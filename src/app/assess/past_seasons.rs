//! Past seasons of the places: the archives that the configuration names, read once.

use std::path::Path;
use std::sync::{Arc, PoisonError};

use crate::app::assess::archives::Archives;
pub(crate) use crate::app::assess::archives::Passing;
pub use crate::app::assess::archives::{FirstFreezes, PastSeasons};
use crate::app::error::PastSeasonsError;
use crate::app::error::ServiceError;
use crate::app::ports::{ArchivedDays, DayArchive};
use crate::app::settings::season::SeasonSettings;
use crate::domain::physics::Liquid;
use crate::domain::physics::part::thermal_class;
use crate::domain::weather::seasons::{
    DAMAGING_SHARE, DailyNormals, PastWinter, hemisphere, water_in, winters,
};
use crate::domain::yard::Site;

/// Fewer winters say too little.
pub const WINTERS_LEAST: usize = 5;

/// So many days at the end of an archive may be looked back on.
const RECENT_DAYS: usize = 800;

impl PastSeasons {
    /// Reads an archive; in a table with a `station` column only the rows of `station` count, where there are any.
    ///
    /// `night_offset_k` is the place's own cold on clear calm nights, as for the forecast; an archive does not say which
    /// nights those were, so that all lows get it: the cold side. A place that is warmer gets no credit.
    ///
    /// # Errors
    /// [`PastSeasonsError`]: a file that cannot be read, or too few winters in it.
    pub fn read(
        archive: &dyn DayArchive,
        (file, station): (&Path, &str),
        night_offset_k: f64,
    ) -> Result<Self, PastSeasonsError> {
        let ArchivedDays { mut days, source } = archive
            .read(file, station)
            .map_err(|source| PastSeasonsError::Unreadable { file: file.into(), source })?;
        let night_offset_k = night_offset_k.min(0.0);
        days.sort_by_key(|day| day.date);
        let recent = days.get(days.len().saturating_sub(RECENT_DAYS)..).unwrap_or_default().into();
        for day in &mut days {
            day.low_c += night_offset_k;
        }
        let winters = winters(&days);
        if winters.len() < WINTERS_LEAST {
            let (file, station) = (file.into(), station.to_owned());
            let (found, least) = (winters.len(), WINTERS_LEAST);
            return Err(PastSeasonsError::FewWinters { file, found, station, least });
        }
        Ok(Self {
            file: file.into(),
            source,
            days: days.len(),
            half: hemisphere(&days),
            night_offset_k,
            recent,
            normals: Arc::new(DailyNormals::of(&days)),
            winters,
        })
    }
}

/// The archives that the configuration names, and what was read of them.
#[derive(Clone, Copy)]
pub(crate) struct PastArchives<'a> {
    pub(crate) read: &'a Archives,
    pub(crate) files: &'a dyn DayArchive,
    pub(crate) settings: &'a SeasonSettings,
}

impl PastArchives<'_> {
    /// The past seasons of a place; `None` where the configuration names no archive for it.
    ///
    /// # Errors
    /// As [`PastSeasons::read`].
    pub(crate) fn of(self, site: &Site) -> Result<Option<Arc<PastSeasons>>, ServiceError> {
        let id = site.id.as_str();
        let Some(file) = self.settings.archive_of(id) else { return Ok(None) };
        let key = (file.to_path_buf(), id.to_owned(), site.clear_night_k().to_bits());
        let mut known = self.read.read.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known.get(&key) {
            return Ok(Some(Arc::clone(found)));
        }
        let read = Arc::new(PastSeasons::read(self.files, (file, id), site.clear_night_k())?);
        known.insert(key, Arc::clone(&read));
        Ok(Some(read))
    }
}

impl Archives {
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
        self.freezes(past, (class, passing), || {
            let class = thermal_class(class)?;
            let part = water_in(class, &passing.liquid);
            let froze = |winter: &PastWinter| {
                let found = part.as_ref().and_then(|part| winter.part_past(part, passing.share));
                (winter.start, found)
            };
            Ok(past.winters.iter().map(froze).collect())
        })
    }
}
