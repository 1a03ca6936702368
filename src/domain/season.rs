//! Seasons of a place: which winter an instant belongs to, by the half of the earth, and where a date stands in its season.
//!
//! A season runs from July to June, in the southern half of the earth from January to December: each has one winter in
//! its middle, which is named after the year in which its season began. The only place that knows.

use chrono::{DateTime, Datelike, Days, Months, NaiveDate, Utc};
use chrono_tz::Tz;

/// Months by which the two halves of the earth are apart.
const APART_MONTHS: u32 = 6;
/// The same in days.
const APART_DAYS: f64 = 183.0;

/// The half of the earth, by when its winter falls.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hemisphere {
    /// Winter about January.
    Northern,
    /// Winter about July.
    Southern,
}

impl Hemisphere {
    /// By degrees north.
    #[must_use]
    pub fn of_latitude(degrees: f64) -> Self {
        if degrees < 0.0 { Self::Southern } else { Self::Northern }
    }

    /// By which of the two is colder in a series of daily means in C: an archive need not say where it was measured.
    #[must_use]
    pub fn by_cold(days: impl Iterator<Item = (NaiveDate, f64)>) -> Self {
        let (mut december, mut june) = ((0.0, 0.0), (0.0, 0.0));
        for (date, mean_c) in days {
            let (sum, count) = match date.month() {
                12 | 1 | 2 => &mut december,
                6..=8 => &mut june,
                _ => continue,
            };
            *sum += mean_c;
            *count += 1.0;
        }
        let mean = |(sum, count): (f64, f64)| sum / f64::max(count, 1.0);
        if mean(december) <= mean(june) { Self::Northern } else { Self::Southern }
    }

    /// The month here, 1 to 12, that is what `northern` is in the north; and the other way round.
    #[must_use]
    pub const fn month(self, northern: u32) -> u32 {
        match self {
            Self::Northern => northern,
            Self::Southern => (northern + APART_MONTHS - 1) % 12 + 1,
        }
    }

    /// The month here of a figure of the tables, which are written for the north; June where it is no month.
    #[must_use]
    pub fn month_of_table(self, northern: f64) -> u32 {
        let month = (1..=12_u32).find(|month| (f64::from(*month) - northern).abs() < 0.5);
        month.map_or(6, |month| self.month(month))
    }

    /// The date in the north that stands in its season where `date` stands here; `None` outside the calendar.
    #[must_use]
    pub fn as_northern(self, date: NaiveDate) -> Option<NaiveDate> {
        match self {
            Self::Northern => Some(date),
            Self::Southern => date.checked_add_months(Months::new(APART_MONTHS)),
        }
    }

    /// The same for a day of the year, which may run past the year's end.
    #[must_use]
    pub fn northern_day(self, day_of_year: f64) -> f64 {
        match self {
            Self::Northern => day_of_year,
            Self::Southern => day_of_year + APART_DAYS,
        }
    }

    /// The year in which the season of a date began.
    #[must_use]
    pub fn year_of(self, date: NaiveDate) -> i32 {
        match self {
            Self::Northern if date.month() < 7 => date.year() - 1,
            Self::Northern | Self::Southern => date.year(),
        }
    }

    /// The first day of the season that begins in a year; `None` outside the calendar.
    #[must_use]
    pub fn start(self, year: i32) -> Option<NaiveDate> {
        NaiveDate::from_ymd_opt(year, self.month(7), 1)
    }

    /// The day of a date counted from the first of its own season, which is day 0.
    #[must_use]
    pub fn day_of(self, date: NaiveDate) -> u32 {
        let days = self.start(self.year_of(date)).map_or(0, |start| (date - start).num_days());
        u32::try_from(days).unwrap_or(0)
    }

    /// Month and day of a day of the season, in a year without a leap day.
    #[must_use]
    pub fn calendar(self, day: u32) -> Option<NaiveDate> {
        self.start(2022)?.checked_add_days(Days::new(u64::from(day)))
    }

    /// The day of the season `day` in the season that has `today` in it.
    #[must_use]
    pub fn this_season(self, today: NaiveDate, day: u32) -> Option<NaiveDate> {
        self.start(self.year_of(today))?.checked_add_days(Days::new(u64::from(day)))
    }

    /// Is it summer, in which no winter is missed?
    #[must_use]
    pub fn is_summer(self, date: NaiveDate) -> bool {
        (6..=8).contains(&self.month(date.month()))
    }

    /// Is it the half of the year in which cold is to be reckoned with? October to April, in the south April to October.
    #[must_use]
    pub fn is_cold_half(self, date: NaiveDate) -> bool {
        !(5..=9).contains(&self.month(date.month()))
    }

    /// The newest first of a month (1 to 12, as here) that is not after a date.
    #[must_use]
    pub fn last_first_of(month: u32, date: NaiveDate) -> Option<NaiveDate> {
        let year = if date.month() < month { date.year() - 1 } else { date.year() };
        NaiveDate::from_ymd_opt(year, month, 1)
    }
}

/// One winter of a place: all that must be said once a winter goes by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Winter {
    hemisphere: Hemisphere,
    year: i32,
}

impl Winter {
    /// The winter to whose season an instant belongs, by the clocks of the place.
    #[must_use]
    pub fn of((hemisphere, zone): (Hemisphere, Tz), at: DateTime<Utc>) -> Self {
        let date = at.with_timezone(&zone).date_naive();
        Self { hemisphere, year: hemisphere.year_of(date) }
    }

    /// The year in which its season began.
    #[must_use]
    pub const fn year(self) -> i32 {
        self.year
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Hemisphere::{Northern, Southern};

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn winter(hemisphere: Hemisphere, zone: Tz, at: &str) -> i32 {
        Winter::of((hemisphere, zone), at.parse().unwrap()).year()
    }

    #[test]
    fn a_winter_is_one_over_new_year_in_the_north_and_over_midyear_in_the_south() {
        let (york, hobart) = (Tz::America__New_York, Tz::Australia__Hobart);
        assert_eq!(winter(Northern, york, "2025-12-20T12:00:00Z"), 2025);
        assert_eq!(winter(Northern, york, "2026-02-20T12:00:00Z"), 2025);
        assert_eq!(winter(Southern, hobart, "2026-05-20T12:00:00Z"), 2026);
        assert_eq!(winter(Southern, hobart, "2026-08-20T12:00:00Z"), 2026);
        assert_eq!(winter(Southern, hobart, "2026-12-31T12:30:00Z"), 2026);
        assert_eq!(winter(Southern, hobart, "2026-12-31T13:30:00Z"), 2027, "by its own clocks");
    }

    #[test]
    fn each_day_of_the_south_stands_where_the_north_was_half_a_year_before() {
        for day in date("2023-01-01").iter_days().take(3 * 366) {
            let northern = Southern.as_northern(day).unwrap();
            assert_eq!(Southern.is_summer(day), Northern.is_summer(northern), "{day}");
            assert_eq!(Southern.is_cold_half(day), Northern.is_cold_half(northern), "{day}");
            assert_eq!(Southern.year_of(day), Northern.year_of(northern), "{day}");
            assert!(!(Southern.is_summer(day) && Southern.is_cold_half(day)), "{day}");
            assert_eq!(Southern.month(day.month()), northern.month());
        }
    }

    #[test]
    fn days_are_counted_from_the_first_of_the_season() {
        let today = date("2026-04-03");
        assert_eq!(Southern.this_season(today, 0), Some(date("2026-01-01")));
        assert_eq!(Northern.this_season(today, 0), Some(date("2025-07-01")));
        for hemisphere in [Northern, Southern] {
            let day = hemisphere.day_of(today);
            assert_eq!(hemisphere.this_season(today, day), Some(today));
        }
    }

    #[test]
    fn a_month_of_the_tables_is_half_a_year_later_in_the_south() {
        assert_eq!((Northern.month_of_table(6.0), Southern.month_of_table(6.0)), (6, 12));
        assert_eq!((Northern.month_of_table(9.0), Southern.month_of_table(9.0)), (9, 3));
        assert_eq!(Hemisphere::last_first_of(6, date("2026-05-31")), Some(date("2025-06-01")));
        assert_eq!(Hemisphere::last_first_of(6, date("2026-06-01")), Some(date("2026-06-01")));
    }
}
