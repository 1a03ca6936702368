//! Past winters of a place: on which day the first damaging ice came and the last, for the air alone and for each kind
//! of part, and from these the last day without care at a chosen tolerance.
//!
//! Hours between the low (06 h) and the high (15 h) of a day follow half a cosine.

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime};

use crate::domain::physics::part::{PartModel, ThermalClass};
use crate::domain::season::Hemisphere;
use crate::domain::units::Celsius;

/// The low and high of one day, C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// The calendar day.
    pub date: NaiveDate,
    /// Its lowest temperature.
    pub low_c: f64,
    /// Its highest temperature.
    pub high_c: f64,
}

/// When the winter of a series of days falls.
#[must_use]
pub fn hemisphere(days: &[Day]) -> Hemisphere {
    Hemisphere::by_cold(days.iter().map(|day| (day.date, f64::midpoint(day.low_c, day.high_c))))
}

/// Days that a winter must have outside summer to count: nine tenths of 273.
const DAYS_MIN: usize = 246;
/// Ice share that damages a hard part (the contract's limit of a circuit that holds water).
pub const DAMAGING_SHARE: f64 = 0.05;
const LOW_HOUR: u32 = 6;
const HIGH_HOUR: u32 = 15;

/// One past winter, days in order.
#[derive(Debug, Clone, PartialEq)]
pub struct PastWinter {
    /// The first day of its season, from which days are counted.
    pub start: NaiveDate,
    /// Its days.
    pub days: Vec<Day>,
}

/// What came of one winter: the first day of its season, and first and last freeze.
pub type Froze = (NaiveDate, FirstAndLast);

/// The complete winters of a series, oldest first. Days may come in any order; of two entries for a day the last stands.
#[must_use]
pub fn winters(days: &[Day]) -> Vec<PastWinter> {
    let mut by_date = std::collections::BTreeMap::new();
    for day in days {
        by_date.insert(day.date, *day);
    }
    let half = hemisphere(days);
    let mut all: Vec<PastWinter> = Vec::new();
    for day in by_date.into_values() {
        let Some(start) = half.start(half.year_of(day.date)) else { continue };
        match all.last_mut() {
            Some(winter) if winter.start == start => winter.days.push(day),
            _ => all.push(PastWinter { start, days: vec![day] }),
        }
    }
    let cold_months = |day: &&Day| !half.is_summer(day.date);
    all.retain(|winter| winter.days.iter().filter(cold_months).count() >= DAYS_MIN);
    all
}

/// The mean of each day of the year over all years, smoothed over a month.
#[derive(Debug, Clone, PartialEq)]
pub struct DailyNormals(Vec<Option<f64>>);

/// Days of the year that a normal is the mean of, either side.
const SMOOTHED_OVER: i64 = 15;
const DAYS_A_YEAR: i64 = 366;

impl DailyNormals {
    /// From days in any order.
    #[must_use]
    pub fn of(days: &[Day]) -> Self {
        let mut sums = vec![(0.0, 0.0); 366];
        for day in days {
            let slot = usize::try_from(day.date.ordinal0()).ok().and_then(|at| sums.get_mut(at));
            if let Some((sum, count)) = slot {
                *sum += f64::midpoint(day.low_c, day.high_c);
                *count += 1.0;
            }
        }
        let around = |at: i64| {
            let near = (-SMOOTHED_OVER..=SMOOTHED_OVER).filter_map(|off| {
                usize::try_from((at + off).rem_euclid(DAYS_A_YEAR)).ok().and_then(|at| sums.get(at))
            });
            let (sum, count) = near.fold((0.0, 0.0), |(s, c), (sum, count)| (s + sum, c + count));
            (count > 0.0).then(|| sum / count)
        };
        Self((0..DAYS_A_YEAR).map(around).collect())
    }

    /// The mean of a date, C; `None` where the archive has no day near it.
    #[must_use]
    pub fn on(&self, date: NaiveDate) -> Option<f64> {
        let at = usize::try_from(date.ordinal0()).ok()?;
        self.0.get(at).copied().flatten()
    }
}

/// First and last day of a winter that froze; `None`: it did not.
pub type FirstAndLast = Option<(NaiveDate, NaiveDate)>;

impl PastWinter {
    /// First and last day with a low at or below a threshold in C.
    #[must_use]
    pub fn air_below(&self, threshold_c: f64) -> FirstAndLast {
        let mut days = self.days.iter().filter(|day| day.low_c <= threshold_c + 1e-9);
        let first = days.next()?.date;
        Some((first, days.next_back().map_or(first, |day| day.date)))
    }

    /// First and last day on which a part that holds water has a damaging share of ice.
    #[must_use]
    pub fn part_frozen(&self, part: &PartModel) -> FirstAndLast {
        self.part_past(part, DAMAGING_SHARE)
    }

    /// First and last day on which `share` or more of what is in a part is ice, by mass.
    #[must_use]
    pub fn part_past(&self, part: &PartModel, share: f64) -> FirstAndLast {
        let mut held = part.enthalpy_in_balance(Celsius::clamped(self.days.first()?.high_c));
        let mut found: FirstAndLast = None;
        for (day, next) in self.days.iter().zip(self.days.iter().skip(1)) {
            if day.date.checked_add_days(Days::new(1)) != Some(next.date) {
                continue;
            }
            for hour in LOW_HOUR..LOW_HOUR + 24 {
                held = part.step_hour(held, between(day, next, hour));
                if part.ice_share(held) >= share {
                    let date = if hour < 24 { day.date } else { next.date };
                    found = Some((found.map_or(date, |(first, _)| first), date));
                }
            }
        }
        found
    }
}

/// The hours of days that follow one another, by the clocks of the place: from each low to the next.
pub fn hours(days: &[Day]) -> impl Iterator<Item = (NaiveDateTime, f64)> + '_ {
    days.iter()
        .zip(days.iter().skip(1))
        .filter(|(day, next)| day.date.succ_opt() == Some(next.date))
        .flat_map(|(day, next)| {
            (LOW_HOUR..LOW_HOUR + 24).filter_map(move |hour| {
                let date = if hour < 24 { day.date } else { next.date };
                Some((date.and_hms_opt(hour % 24, 0, 0)?, between(day, next, hour)))
            })
        })
}

/// The air at an hour from the day's low to the next day's, C.
fn between(day: &Day, next: &Day, hour: u32) -> f64 {
    let (from, to, start, length) = if hour < HIGH_HOUR {
        (day.low_c, day.high_c, LOW_HOUR, HIGH_HOUR - LOW_HOUR)
    } else {
        (day.high_c, next.low_c, HIGH_HOUR, 24 + LOW_HOUR - HIGH_HOUR)
    };
    let share = (f64::from(hour - start) + 0.5) / f64::from(length);
    from + (to - from) * (1.0 - (std::f64::consts::PI * share).cos()) / 2.0
}

/// The model of a thermal class full of a liquid; `None` where the class holds none.
#[must_use]
pub fn water_in(
    class: &ThermalClass,
    liquid: &crate::domain::physics::Liquid,
) -> Option<PartModel> {
    PartModel::new(liquid, class.water(), class.solid(), class.ua()).ok()
}

/// Which end of the winter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The first freeze in autumn: early is bad.
    First,
    /// The last freeze in spring: late is bad.
    Last,
}

/// The day of the season by which a share of the winters had their first freeze, or after which a share of them
/// still had one. Winters without any freeze count as later than every day (first) or earlier (last). `None` where that
/// share is never reached.
///
/// Quantiles are those of the ordered winters, interpolated between neighbours.
#[must_use]
pub fn day_at(winters: &[Froze], end: End, share: f64) -> Option<u32> {
    let mut days: Vec<f64> = winters
        .iter()
        .map(|(start, found)| match (end, found) {
            (End::First, Some((first, _))) => since(*start, *first),
            (End::Last, Some((_, last))) => -since(*start, *last),
            (_, None) => f64::INFINITY,
        })
        .collect();
    days.sort_by(f64::total_cmp);
    let last = days.len().checked_sub(1)?;
    let at = share.clamp(0.0, 1.0) * f64::from(u32::try_from(last).ok()?);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small index")]
    let below = at.floor() as usize;
    let (low, high) = (days.get(below)?, days.get((below + 1).min(last))?);
    let value = if at.fract() > 0.0 { low + (high - low) * at.fract() } else { *low };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a day of a year")]
    value.is_finite().then(|| value.abs().round() as u32)
}

fn since(start: NaiveDate, date: NaiveDate) -> f64 {
    i32::try_from((date - start).num_days()).map_or(0.0, f64::from)
}

/// The share of winters in which it came on or after a day of the season, 0 to 1, and the earliest such day; 0 without winters.
#[must_use]
pub fn still_to_come(winters: &[Froze], from: u32) -> (f64, Option<u32>) {
    let from = f64::from(from);
    let coming = winters.iter().filter_map(|(start, found)| {
        let (first, last) = (*found)?;
        let (first, last) = (since(*start, first), since(*start, last));
        (last >= from).then_some(first.max(from))
    });
    let days: Vec<f64> = coming.collect();
    let count = |n: usize| u32::try_from(n).map_or(0.0, f64::from);
    let share = if winters.is_empty() { 0.0 } else { count(days.len()) / count(winters.len()) };
    let earliest = days.into_iter().fold(f64::INFINITY, f64::min);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a day of a year")]
    let earliest = earliest.is_finite().then(|| earliest.round() as u32);
    (share, earliest)
}

/// The share of winters in which it had frozen by a day of the season, among those in which it had not by `after`:
/// the season so far is known. `None` where no winter is left.
#[must_use]
pub fn frozen_by(winters: &[Froze], day: u32, after: Option<u32>) -> Option<f64> {
    let first =
        |(start, found): &Froze| found.map_or(f64::INFINITY, |(first, _)| since(*start, first));
    let left: Vec<f64> = winters
        .iter()
        .map(first)
        .filter(|first| after.is_none_or(|after| *first > f64::from(after)))
        .collect();
    let count = |n: usize| u32::try_from(n).map_or(0.0, f64::from);
    let frozen = left.iter().filter(|first| **first <= f64::from(day)).count();
    (!left.is_empty()).then(|| count(frozen) / count(left.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn winter(cold: &[(&str, f64)]) -> Vec<Day> {
        let start = NaiveDate::from_ymd_opt(2020, 7, 1).unwrap();
        start
            .iter_days()
            .take(365)
            .map(|date| {
                let low = cold.iter().find(|(d, _)| d.parse() == Ok(date)).map_or(5.0, |c| c.1);
                Day { date, low_c: low, high_c: low + 6.0 }
            })
            .collect()
    }

    #[test]
    fn first_and_last_days_of_the_air() {
        let days = winter(&[("2020-10-20", -1.0), ("2021-01-10", -9.0), ("2021-04-02", -0.5)]);
        let all = winters(&days);
        assert_eq!(all.len(), 1);
        let found = all[0].air_below(0.0).unwrap();
        assert_eq!(
            (found.0.to_string(), found.1.to_string()),
            ("2020-10-20".into(), "2021-04-02".into())
        );
        let hard = all[0].air_below(-2.2).unwrap();
        assert_eq!(hard.0, hard.1);
        assert_eq!(all[0].air_below(-20.0), None);
    }

    #[test]
    fn quantiles_run_from_the_bad_end() {
        let date = |text: &str| text.parse::<NaiveDate>().unwrap();
        let all: Vec<Froze> = (0..11)
            .map(|k| {
                let first = date("2020-10-01") + Days::new(k);
                (date("2020-07-01"), Some((first, date("2021-04-01") + Days::new(k))))
            })
            .collect();
        let on = |end, share| {
            Hemisphere::Northern
                .calendar(day_at(&all, end, share).unwrap())
                .unwrap()
                .format("%m-%d")
                .to_string()
        };
        assert_eq!(on(End::First, 0.1), "10-02");
        assert_eq!(on(End::Last, 0.1), "04-10");
        assert_eq!(day_at(&[(date("2020-07-01"), None)], End::First, 0.1), None);
    }

    #[test]
    fn in_the_south_a_winter_is_one_calendar_year() {
        let start = NaiveDate::from_ymd_opt(2018, 1, 1).unwrap();
        let days: Vec<Day> = start
            .iter_days()
            .take(3 * 365 + 1)
            .map(|date| {
                let wave = (f64::from(date.ordinal()) / 365.25 * std::f64::consts::TAU).cos();
                Day { date, low_c: 5.0 + 8.0 * wave, high_c: 15.0 + 8.0 * wave }
            })
            .collect();
        assert_eq!(hemisphere(&days), Hemisphere::Southern);
        let all = winters(&days);
        assert_eq!(all.len(), 3);
        for winter in &all {
            let (first, last) = winter.air_below(0.0).unwrap();
            assert_eq!((first.month(), last.month()), (5, 8), "{first} {last}");
        }
        let froze: Vec<Froze> = all.iter().map(|w| (w.start, w.air_below(0.0))).collect();
        let first =
            day_at(&froze, End::First, 0.5).and_then(|day| Hemisphere::Southern.calendar(day));
        assert_eq!(first.unwrap().month(), 5);
    }

    #[test]
    fn half_a_winter_does_not_count() {
        let days: Vec<Day> = winter(&[]).into_iter().take(200).collect();
        assert!(winters(&days).is_empty());
    }
}
