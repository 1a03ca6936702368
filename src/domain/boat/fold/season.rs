//! When last winter's sheet ends: on a date at the latest, or with the first run of spring.

use chrono::{DateTime, Datelike, FixedOffset, NaiveDate, Utc};
use chrono_tz::Tz;

use crate::domain::catalogue::TradeLimits;
use crate::domain::local_time;
use crate::domain::season::Hemisphere;

/// The end of the season as the fold passes through time.
pub(super) struct Season {
    zone: Tz,
    spring_month: u32,
    end_month: u32,
    next_end: Option<DateTime<Utc>>,
}

impl Season {
    /// Begins before `first`, the time of the first entry.
    pub(super) fn start(
        first: DateTime<Utc>,
        zone: Tz,
        hemisphere: Hemisphere,
        limits: &TradeLimits,
    ) -> Self {
        let mut season = Self {
            zone,
            spring_month: hemisphere.month_of_table(limits.spring_from_month),
            end_month: hemisphere.month_of_table(limits.season_ends_month),
            next_end: None,
        };
        season.next_end = season.end_after(first);
        season
    }

    /// Whether the season ends at or before `moment`; each end is told once.
    pub(super) fn ends_before(&mut self, moment: DateTime<Utc>) -> bool {
        let mut ended = false;
        while self.next_end.is_some_and(|end| end <= moment) {
            ended = true;
            self.next_end = self.next_end.and_then(|end| self.end_after(end));
        }
        ended
    }

    /// When the spring of this local time began; `None` where it is not spring.
    pub(super) fn spring_began(&self, local: DateTime<FixedOffset>) -> Option<DateTime<Utc>> {
        if !self.is_spring(local) {
            return None;
        }
        let year = if local.month() < self.spring_month { local.year() - 1 } else { local.year() };
        let first = NaiveDate::from_ymd_opt(year, self.spring_month, 1)?;
        Some(local_time::day_start(self.zone, first))
    }

    /// Whether it is spring at this local time: after winter and before the season ends by date.
    pub(super) fn is_spring(&self, local: DateTime<FixedOffset>) -> bool {
        let since_spring = (local.month() + 12 - self.spring_month) % 12;
        let spring_months = (self.end_month + 12 - self.spring_month) % 12;
        since_spring < spring_months
    }

    fn end_after(&self, moment: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let year = moment.with_timezone(&self.zone).year();
        (year..=year + 1)
            .filter_map(|year| {
                let day = NaiveDate::from_ymd_opt(year, self.end_month, 1)?;
                Some(local_time::day_start(self.zone, day))
            })
            .find(|end| *end > moment)
    }
}
