//! The low and the high of each calendar day at each place: named days as given, the others by a walk that is bound
//! to the named days before and after it.

use chrono::{Days as ChronoDays, NaiveDate};

use crate::domain::units::kelvin_as_fahrenheit;
use crate::sim::demo::noise::Noise;
use crate::sim::demo::winter::sky::{Sky, SkyDay};
use crate::sim::demo::winter::tables::{
    DayTable, NamedDay, Tables, WinterCell, WinterError, pairs,
};

/// Correlation of a low's departure with that of the night before.
pub(crate) const NIGHT_TO_NIGHT: f64 = 0.7;
/// Spread of the departures: 4 K in F.
const SPREAD_F: f64 = 7.2;
/// Share of the variance that the places have in common.
const SHARED: f64 = 0.93;
/// A day's high lies at least this far above its low, in F.
pub(crate) const RISE_LEAST_F: f64 = 5.0;
/// The rise of a day by its cloud: this factor without, less so much of it under full cover.
const RISE_CLEAR: f64 = 1.3;
const RISE_CLOUD: f64 = 0.6;
/// How far what would fall below a floor is turned back up, as a share.
const TURNED_BACK: f64 = 0.35;
/// Spread of the rise, as a share.
pub(crate) const RISE_SPREAD: f64 = 0.12;

/// One calendar day at one place, in F.
#[derive(Debug, Clone, Default)]
pub(crate) struct Day {
    pub low_f: f64,
    pub high_f: f64,
    /// Stands as given: no hour may leave low..high.
    pub is_named: bool,
    /// Hour of the low; sunrise when none.
    pub low_hour: Option<u32>,
    /// Hour of the high.
    pub high_hour: Option<u32>,
    /// Further hours with their share of the way from low to high.
    pub shares: Vec<(u32, f64)>,
    /// Further hours in F.
    pub hours_f: Vec<(u32, f64)>,
}

pub(crate) struct Days {
    quay: Vec<Day>,
    upper: Vec<Day>,
    drive_b: Vec<Day>,
    barn: Vec<Day>,
}

impl Days {
    pub fn of(&self, table: DayTable) -> &[Day] {
        match table {
            DayTable::Quay => &self.quay,
            DayTable::Upper => &self.upper,
            DayTable::DriveB => &self.drive_b,
            DayTable::Barn => &self.barn,
        }
    }

    pub fn make(
        tables: &Tables,
        sky: &Sky,
        first: NaiveDate,
        seed: u64,
    ) -> Result<Self, WinterError> {
        let shared = Noise::new(seed, 10).series(sky.0.len(), NIGHT_TO_NIGHT);
        let rise = Noise::new(seed, 11).series(sky.0.len(), NIGHT_TO_NIGHT);
        let fill = |table, stream| {
            let own = Noise::new(seed, stream).series(sky.0.len(), NIGHT_TO_NIGHT);
            let mix =
                |(s, o): (&f64, &f64)| (SHARED.sqrt() * s + (1.0 - SHARED).sqrt() * o) * SPREAD_F;
            let walk: Vec<f64> = shared.iter().zip(&own).map(mix).collect();
            Place { tables, sky: &sky.0, first, table, offset_f: offset_f(tables, table) }
                .fill(walk, &rise)
        };
        let (quay, upper) = (fill(DayTable::Quay, 12)?, fill(DayTable::Upper, 13)?);
        let drive_b = fill(DayTable::DriveB, 14)?;
        let barn = halfway(tables, &sky.0, first, &quay, &upper)?;
        let plain = |days: Vec<Filled>| days.into_iter().map(|d| d.day).collect();
        Ok(Self { quay: plain(quay), upper: plain(upper), drive_b: plain(drive_b), barn })
    }
}

/// A day with its low before cold air pools.
struct Filled {
    day: Day,
    open_low_f: f64,
}

struct Place<'a> {
    tables: &'a Tables,
    sky: &'a [SkyDay],
    first: NaiveDate,
    table: DayTable,
    offset_f: f64,
}

impl Place<'_> {
    fn fill(&self, walk: Vec<f64>, rise: &[f64]) -> Result<Vec<Filled>, WinterError> {
        let bases: Vec<f64> = (0..self.sky.len()).map(|at| self.base_f(at)).collect();
        let anchors: Vec<(usize, f64)> = (bases.iter().enumerate())
            .filter_map(|(at, base)| {
                let named = named_on(self.tables, self.date(at))?;
                Some((at, low_high(named, self.table).0 - base - self.pooling_f(at)))
            })
            .collect();
        let bound = bind(walk, &anchors);
        let mut days = Vec::new();
        for (at, ((departure, base), rise)) in bound.iter().zip(&bases).zip(rise).enumerate() {
            if let Some(named) = named_on(self.tables, self.date(at)) {
                let day = named_day(named, self.table)?;
                let open_low_f = day.low_f;
                days.push(Filled { day, open_low_f });
                continue;
            }
            let open_low_f = base + tame(*departure);
            let floor_f = floor_f(self.tables, self.table, self.date(at));
            let low_f = above(open_low_f + self.pooling_f(at), floor_f);
            let cloud = self.sky.get(at).map_or(0.5, |s| s.cloud_day);
            let share = RISE_CLEAR - RISE_CLOUD * cloud + RISE_SPREAD * rise;
            let high_f = open_low_f + share * self.mean(at, |n| n.rise_f);
            let day = Day { low_f, high_f: high_f.max(low_f + RISE_LEAST_F), ..Day::default() };
            days.push(Filled { day, open_low_f });
        }
        Ok(days)
    }

    fn date(&self, at: usize) -> NaiveDate {
        date(self.first, at)
    }

    fn pooling_f(&self, at: usize) -> f64 {
        let pools = self.sky.get(at).is_some_and(SkyDay::is_clear_calm);
        if pools { self.offset_f } else { 0.0 }
    }

    /// Normal low with the shift of its stretch.
    fn base_f(&self, at: usize) -> f64 {
        let low = self.mean(at, |n| match self.table {
            DayTable::Quay | DayTable::Barn => n.coast_low_f,
            DayTable::DriveB => n.drive_b_low_f,
            DayTable::Upper => n.drive_b_low_f - 1.0,
        });
        let date = self.date(at);
        let shift = self.tables.shifts.iter().find(|s| (s.from..=s.to).contains(&date));
        low + shift.map_or(0.0, |s| s.shift_f)
    }

    /// A monthly figure, straight between the middles of the months.
    fn mean(
        &self,
        at: usize,
        figure: impl Fn(&crate::sim::demo::winter::tables::Normal) -> f64,
    ) -> f64 {
        between(&self.tables.normals, self.date(at), figure)
    }
}

/// A monthly figure on a day of the tables' own winter, straight between the middles of the months.
pub(crate) fn between(
    normals: &[crate::sim::demo::winter::tables::Normal],
    date: NaiveDate,
    figure: impl Fn(&crate::sim::demo::winter::tables::Normal) -> f64,
) -> f64 {
    let after = normals.iter().find(|n| n.day > date);
    let before = normals.iter().rev().find(|n| n.day <= date);
    match (before, after) {
        (Some(a), Some(b)) => {
            let share = days_between(a.day, date) / days_between(a.day, b.day);
            figure(a) + share * (figure(b) - figure(a))
        }
        (Some(one), None) | (None, Some(one)) => figure(one),
        (None, None) => 0.0,
    }
}

fn days_between(from: NaiveDate, to: NaiveDate) -> f64 {
    i32::try_from((to - from).num_days()).map_or(0.0, f64::from)
}

fn date(first: NaiveDate, at: usize) -> NaiveDate {
    let days = u64::try_from(at).unwrap_or(0);
    first.checked_add_days(ChronoDays::new(days)).unwrap_or(first)
}

fn offset_f(tables: &Tables, table: DayTable) -> f64 {
    let is_ours = |c: &&WinterCell| c.table == table;
    tables.cells.iter().find(is_ours).map_or(0.0, |c| kelvin_as_fahrenheit(c.night_offset_k))
}

fn named_on(tables: &Tables, date: NaiveDate) -> Option<&NamedDay> {
    tables.days.iter().find(|d| d.date == date)
}

fn low_high(day: &NamedDay, table: DayTable) -> (f64, f64) {
    match table {
        DayTable::Quay => (day.quay_low_f, day.quay_high_f),
        DayTable::Upper => (day.upper_low_f, day.upper_high_f),
        DayTable::DriveB => (day.drive_b_low_f, day.drive_b_high_f),
        DayTable::Barn => {
            let half = f64::midpoint(day.quay_low_f, day.upper_low_f);
            let high = f64::midpoint(day.quay_high_f, day.upper_high_f);
            (day.barn_low_f.unwrap_or(half), high)
        }
    }
}

fn named_day(day: &NamedDay, table: DayTable) -> Result<Day, WinterError> {
    let (low_f, high_f) = low_high(day, table);
    let hours_f = if table == DayTable::Upper { pairs(&day.upper_hours)? } else { Vec::new() };
    Ok(Day {
        low_f,
        high_f,
        is_named: true,
        low_hour: day.low_hour,
        high_hour: day.high_hour,
        shares: pairs(&day.shape)?,
        hours_f,
    })
}

fn floor_f(tables: &Tables, table: DayTable, date: NaiveDate) -> f64 {
    let floor = tables.floors.iter().find(|f| (f.from..=f.to).contains(&date));
    floor.map_or(f64::NEG_INFINITY, |f| match table {
        DayTable::Quay => f.coast_f,
        _ => f.inland_f,
    })
}

/// What would fall below a floor is turned back up, less far.
fn above(low_f: f64, floor_f: f64) -> f64 {
    if low_f < floor_f { floor_f + TURNED_BACK * (floor_f - low_f) } else { low_f }
}

/// Beyond twice the spread a departure counts half: filled days are not to outdo the named ones.
fn tame(departure_f: f64) -> f64 {
    let beyond = (departure_f.abs() - 2.0 * SPREAD_F).max(0.0);
    departure_f - 0.5 * beyond * departure_f.signum()
}

/// BARN: half-way between the shore and the hollow before cold air pools, then its own pooling.
fn halfway(
    tables: &Tables,
    sky: &[SkyDay],
    first: NaiveDate,
    quay: &[Filled],
    upper: &[Filled],
) -> Result<Vec<Day>, WinterError> {
    let own_f = offset_f(tables, DayTable::Barn);
    (quay.iter().zip(upper).zip(sky).enumerate())
        .map(|(at, ((quay, upper), sky))| {
            if let Some(named) = named_on(tables, date(first, at)) {
                return named_day(named, DayTable::Barn);
            }
            let pooling = if sky.is_clear_calm() { own_f } else { 0.0 };
            let low_f = f64::midpoint(quay.open_low_f, upper.open_low_f) + pooling;
            let low_f = above(low_f, floor_f(tables, DayTable::Barn, date(first, at)));
            let high_f = f64::midpoint(quay.day.high_f, upper.day.high_f);
            Ok(Day { low_f, high_f: high_f.max(low_f + RISE_LEAST_F), ..Day::default() })
        })
        .collect()
}

/// Draws the walk through the anchors: adds to a free walk what its conditional mean lacks there. For a series in which
/// each value hangs on the one before only, the two nearest anchors decide; weights after the usual formula for the
/// bridge of a stationary first-order autoregression.
fn bind(mut walk: Vec<f64>, anchors: &[(usize, f64)]) -> Vec<f64> {
    let lacks: Vec<(usize, f64)> =
        anchors.iter().filter_map(|(at, value)| Some((*at, value - walk.get(*at)?))).collect();
    for (at, value) in walk.iter_mut().enumerate() {
        let before = lacks.iter().rev().find(|(a, _)| *a <= at);
        let after = lacks.iter().find(|(a, _)| *a >= at);
        *value += match (before, after) {
            (Some((a, lack)), Some((b, _))) if a == b => *lack,
            (Some((a, lack_a)), Some((b, lack_b))) => {
                let (from, to) = (power(at.abs_diff(*a)), power(b.abs_diff(at)));
                let whole = power(b.abs_diff(*a));
                let rest = 1.0 - whole * whole;
                lack_a * (from - to * whole) / rest + lack_b * (to - from * whole) / rest
            }
            (Some((a, lack)), None) | (None, Some((a, lack))) => lack * power(at.abs_diff(*a)),
            (None, None) => 0.0,
        };
    }
    walk
}

fn power(days: usize) -> f64 {
    i32::try_from(days).map_or(0.0, |d| NIGHT_TO_NIGHT.powi(d))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bound_walk_meets_its_anchors_and_forgets_them_far_away() {
        let free = Noise::new(3, 3).series(100, NIGHT_TO_NIGHT);
        let bound = bind(free.clone(), &[(20, 5.0), (23, -5.0)]);
        assert!((bound[20] - 5.0).abs() < 1e-12 && (bound[23] + 5.0).abs() < 1e-12);
        assert!(bound[21] > bound[22]);
        assert!((bound[60] - free[60]).abs() < 1e-4);
    }
}
