//! When the offices issue: every three to six hours, but for one gap of 26 hours in a mild spell of January.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::sim::demo::noise::Noise;
use crate::sim::demo::winter::{FIRST_DAY, LAST_DAY, Winter};

/// Days after the first day of the winter on which issues begin.
const FIRST_ISSUE_DAYS: i64 = 2;
/// Shortest time between issues, in minutes, and what chance adds.
const APART_MIN: i64 = 180;
const APART_MORE_MIN: u32 = 181;
/// The gap: both ends are issues. 07:00 local time on 12 January 2023 and 26 hours later.
const GAP_FROM: &str = "2023-01-12T12:00:00Z";
const GAP_HOURS: i64 = 26;

#[derive(Debug, Clone)]
pub(crate) struct Schedule {
    offices: Vec<(String, Vec<DateTime<Utc>>)>,
    office_of_cell: Vec<usize>,
}

impl Schedule {
    pub fn make(winter: &Winter, seed: u64) -> Self {
        let mut schedule = Self { offices: Vec::new(), office_of_cell: Vec::new() };
        for cell in winter.cells() {
            let known = schedule.offices.iter().position(|(office, _)| *office == cell.office);
            let at = known.unwrap_or_else(|| {
                let stream =
                    20_u64.wrapping_add(u64::try_from(schedule.offices.len()).unwrap_or(0));
                schedule.offices.push((cell.office.clone(), times(&mut Noise::new(seed, stream))));
                schedule.offices.len().saturating_sub(1)
            });
            schedule.office_of_cell.push(at);
        }
        schedule
    }

    pub fn of(&self, cell: usize) -> &[DateTime<Utc>] {
        let office = self.office_of_cell.get(cell).and_then(|at| self.offices.get(*at));
        office.map_or(&[], |(_, times)| times.as_slice())
    }
}

fn times(noise: &mut Noise) -> Vec<DateTime<Utc>> {
    let midnight = |(year, month, day): (i32, u32, u32)| {
        let date = NaiveDate::from_ymd_opt(year, month, day).unwrap_or_default();
        date.and_time(chrono::NaiveTime::MIN).and_utc()
    };
    let mut time = midnight(FIRST_DAY) + TimeDelta::days(FIRST_ISSUE_DAYS);
    let end = midnight(LAST_DAY) + TimeDelta::days(1);
    let mut times = Vec::new();
    while time < end {
        times.push(time);
        let minutes = APART_MIN.saturating_add(i64::from(noise.below(APART_MORE_MIN)));
        time += TimeDelta::minutes(minutes);
    }
    if let Ok(from) = GAP_FROM.parse::<DateTime<Utc>>() {
        let to = from + TimeDelta::hours(GAP_HOURS);
        let margin = TimeDelta::minutes(APART_MIN);
        times.retain(|t| *t <= from - margin || *t >= to + margin);
        times.extend([from, to]);
        times.sort();
    }
    times
}
