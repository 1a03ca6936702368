//! The crew: who works on which day, how long by daylight, what the lift can do.

use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::domain::local_time;
use crate::domain::risk::timing::WorkingHours;
use crate::domain::weather::sun;

/// Work ends this long before sunset, so that nobody comes down a ladder in the dark, minutes.
const DAYLIGHT_MARGIN_MIN: i64 = 30;

/// Somebody of the crew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Technician {
    /// As the yard calls them: an id.
    pub name: String,
    /// What they may do; empty where the yard names no skills: anything.
    pub skills: Vec<String>,
}

/// The crew and its calendar.
#[derive(Debug, Clone, PartialEq)]
pub struct Crew {
    /// Who.
    pub technicians: Vec<Technician>,
    /// The yard names skills: whoever has none named may do nothing that asks for one. Whoever is away does not change that.
    pub names_skills: bool,
    /// Hours of work of each on Monday to Sunday.
    pub hours: [f64; 7],
    /// Days without work.
    pub days_off: Vec<NaiveDate>,
    /// Crew hours of every working day in all, instead of the technicians' own.
    pub hours_in_all: Option<f64>,
    /// Between which times of the day.
    pub working: WorkingHours,
    /// Boats that the lift can move a day; `None` where it does not matter.
    pub lift_slots: Option<u32>,
    /// The yard's zone, north and east.
    pub zone: Tz,
    /// Degrees north and east, for daylight.
    pub position: (f64, f64),
}

/// A day of the calendar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorkDay {
    /// Which.
    pub date: NaiveDate,
    /// Minutes of the whole crew.
    pub minutes: u32,
    /// When its work begins, or would.
    pub opens: DateTime<Utc>,
    /// When its work ends, or would.
    pub evening: DateTime<Utc>,
    /// What part of a working day is left of it; 0 where nobody works.
    pub share: f64,
}

impl Crew {
    /// The coming `count` days from the one of `now`, of which only what is left counts.
    #[must_use]
    pub fn days(&self, now: DateTime<Utc>, count: usize) -> Vec<WorkDay> {
        let today = now.with_timezone(&self.zone).date_naive();
        (0..u64::try_from(count).unwrap_or(0))
            .filter_map(|ahead| today.checked_add_days(Days::new(ahead)))
            .map(|date| {
                let (opens, evening) = self.window(date);
                let left_min = (evening - opens.max(now)).num_minutes().max(0);
                let window_min = (evening - opens).num_minutes().max(0);
                let minutes = self.minutes(date, window_min, left_min);
                let share = if !self.works_on(date) || left_min == 0 {
                    0.0
                } else if window_min > 0 {
                    (minutes_of(left_min) / minutes_of(window_min)).min(1.0)
                } else {
                    1.0
                };
                WorkDay { date, minutes, opens, evening, share }
            })
            .collect()
    }

    fn minutes(&self, date: NaiveDate, window_min: i64, left_min: i64) -> u32 {
        if left_min == 0 || !self.works_on(date) {
            return 0;
        }
        let own_h = self.own_hours(date);
        let window = minutes_of(window_min);
        // The break lies anywhere: what is left of the day counts as far as it is not longer than the hours.
        let each = (own_h * 60.0).min(minutes_of(left_min));
        let all = match self.hours_in_all {
            Some(hours) if window > 0.0 => hours * 60.0 * (minutes_of(left_min) / window).min(1.0),
            Some(hours) => hours * 60.0,
            None => each * super::count(self.technicians.len()),
        };
        whole(all)
    }

    fn own_hours(&self, date: NaiveDate) -> f64 {
        let weekday = usize::try_from(date.weekday().num_days_from_monday()).unwrap_or(0);
        self.hours.get(weekday).copied().unwrap_or(0.0)
    }

    /// Is it a working day? Where no weekday has hours, those that are given in all are meant for every day.
    #[must_use]
    pub fn works_on(&self, date: NaiveDate) -> bool {
        let any = self.hours.iter().any(|hours| *hours > 0.0);
        let on_weekday = if any { self.own_hours(date) > 0.0 } else { self.hours_in_all.is_some() };
        on_weekday && !self.days_off.contains(&date)
    }

    /// When a day's work begins and ends: working hours, cut by sunrise and sunset.
    fn window(&self, date: NaiveDate) -> (DateTime<Utc>, DateTime<Utc>) {
        let opens = local_time::first(self.zone, date.and_time(self.working.from));
        let closes = local_time::first(self.zone, date.and_time(self.working.to));
        match sun::rise_and_set(date, self.position.0, self.position.1) {
            Some((rise, set)) => {
                (opens.max(rise), closes.min(set - TimeDelta::minutes(DAYLIGHT_MARGIN_MIN)))
            }
            None => (opens, closes),
        }
    }

    /// Does the sun stay down all that day? Then working hours are all there is, by lamp.
    #[must_use]
    pub fn is_dark_on(&self, date: NaiveDate) -> bool {
        let (north, east) = self.position;
        let noon = date.and_hms_opt(12, 0, 0).map(|noon| local_time::first(self.zone, noon));
        sun::rise_and_set(date, north, east).is_none()
            && noon.is_some_and(|noon| sun::is_night(noon, north, east))
    }

    /// Minutes that work of `work_min` takes the crew at a place `travel_min` away: who spends a day there loses the way
    /// there and back of that day's hours.
    #[must_use]
    pub fn with_travel(&self, work_min: u32, travel_min: f64) -> u32 {
        let day = self.hours.iter().copied().fold(0.0_f64, f64::max) * 60.0;
        let lost = (2.0 * travel_min.max(0.0)).min(day * 0.75);
        if day <= 0.0 { work_min } else { whole(f64::from(work_min) * day / (day - lost)) }
    }

    /// Technicians who may do what asks for `skill`; where nobody's skills are named, everybody may.
    #[must_use]
    pub fn able(&self, skill: &str) -> usize {
        if skill.is_empty() || !self.names_skills {
            return self.technicians.len();
        }
        self.technicians.iter().filter(|one| one.skills.iter().any(|own| own == skill)).count()
    }
}

fn minutes_of(n: i64) -> f64 {
    f64::from(i32::try_from(n).unwrap_or(i32::MAX))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "minutes of a crew's day, clamped"
)]
fn whole(minutes: f64) -> u32 {
    minutes.round().clamp(0.0, 10_000_000.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crew() -> Crew {
        let one = |name: &str| Technician { name: name.into(), skills: vec![] };
        Crew {
            technicians: vec![one("P52"), one("P53")],
            names_skills: false,
            hours: [8.0, 8.0, 8.0, 8.0, 8.0, 0.0, 0.0],
            days_off: vec!["2022-11-24".parse().unwrap()],
            hours_in_all: None,
            working: WorkingHours::default(),
            lift_slots: None,
            zone: chrono_tz::America::New_York,
            position: (44.2, -69.1),
        }
    }

    #[test]
    fn days_off_and_weekends_have_no_hours_and_daylight_cuts_the_rest() {
        // Monday 21 Nov 2022 at 6:30; Thursday is off. Sunset about 16:03, so the day ends 15:33 and holds 7.5 h at most.
        let days = crew().days("2022-11-21T06:30:00-05:00".parse().unwrap(), 7);
        let minutes: Vec<u32> = days.iter().map(|day| day.minutes).collect();
        assert_eq!((minutes[3], minutes[5], minutes[6]), (0, 0, 0));
        assert!((860..=940).contains(&minutes[0]), "{minutes:?}");
    }

    #[test]
    fn hours_in_all_count_on_every_day_where_no_weekday_has_its_own() {
        let monday = "2022-11-21T06:30:00-05:00".parse().unwrap();
        let minutes =
            |crew: Crew| crew.days(monday, 7).iter().map(|d| d.minutes).collect::<Vec<_>>();
        let none = Crew { hours: [0.0; 7], ..crew() };
        assert_eq!(minutes(none.clone()), [0; 7]);
        let asked = minutes(Crew { hours_in_all: Some(4.0), ..none });
        assert_eq!(asked, [240, 240, 240, 0, 240, 240, 240], "Thursday is off");
        let weekdays = minutes(Crew { hours_in_all: Some(4.0), ..crew() });
        assert_eq!(weekdays, [240, 240, 240, 0, 240, 0, 0]);
    }

    /// Tromso, 69.6 N: the sun is down from late November to mid January and does not set in June (almanac, from memory).
    #[test]
    fn a_polar_night_is_dark_and_a_polar_day_is_not() {
        let north = Crew { position: (69.6, 18.9), zone: chrono_tz::Europe::Oslo, ..crew() };
        let dark = |date: &str| north.is_dark_on(date.parse().unwrap());
        assert!(dark("2022-12-15") && !dark("2022-10-15") && !dark("2022-06-15"));
        let days = north.days("2022-12-15T06:30:00+01:00".parse().unwrap(), 1);
        assert!(days[0].minutes > 0, "{days:?}");
    }

    #[test]
    fn whoever_is_left_inherits_no_licence() {
        let alone = Crew { names_skills: true, ..crew() };
        assert_eq!((alone.able("gas"), alone.able("")), (0, 2));
        assert_eq!(crew().able("gas"), 2, "no skills are named: anybody may");
    }

    #[test]
    fn only_what_is_left_of_today_counts_and_far_places_cost_the_way() {
        let days = crew().days("2022-11-21T14:30:00-05:00".parse().unwrap(), 1);
        assert!((110..=135).contains(&days[0].minutes), "{days:?}");
        assert_eq!(crew().with_travel(60, 0.0), 60);
        assert_eq!(crew().with_travel(60, 60.0), 80);
    }
}
