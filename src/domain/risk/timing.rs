//! From the first dangerous hour back to the latest start, and from slack and consequence to priority.

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, Utc, Weekday};

use chrono_tz::Tz;

use super::{Consequence, Priority};
use crate::domain::local_time;
use crate::domain::weather::sun;
use crate::domain::yard::Site;

/// Work ends at least this long before the danger (half of the work if that is more), minutes.
const MARGIN_MIN: f64 = 120.0;
/// Work ends this long before sunset, so that nobody comes down a ladder in the dark, minutes.
const DAYLIGHT_MARGIN_MIN: i64 = 30;
/// How many days back a working window is looked for.
const DAYS_BACK: u64 = 14;
/// When a longer piece of work is proposed to begin.
const WORK_AT: NaiveTime = match NaiveTime::from_hms_opt(10, 0, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};
/// How many days ahead working hours are counted.
const DAYS_AHEAD: usize = 30;

/// The hours in which people work, local time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WorkingHours {
    /// Nobody is asked to start earlier.
    pub from: NaiveTime,
    /// Nobody is asked to work longer; sunset may end the day before that.
    pub to: NaiveTime,
}

impl Default for WorkingHours {
    fn default() -> Self {
        let at = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
        Self { from: at(8), to: at(17) }
    }
}

/// The last moment to set out and still be done, by daylight and in working hours, with a margin before `danger`.
///
/// `work_min` is hands-on work and `travel_min` the way there, in minutes.
#[must_use]
pub fn latest_start(
    danger: DateTime<Utc>,
    work_min: f64,
    travel_min: f64,
    site: &Site,
    hours: WorkingHours,
) -> DateTime<Utc> {
    let margin = minutes((work_min * 0.5).max(MARGIN_MIN));
    let busy = minutes(work_min + travel_min);
    let deadline = danger - margin;
    let day = deadline.with_timezone(&site.time_zone).date_naive();
    for back in 0..DAYS_BACK {
        let Some(date) = day.checked_sub_days(Days::new(back)) else { break };
        let (opens, closes) = working_window(date, site, hours);
        let end = closes.min(deadline);
        if end - busy >= opens {
            return end - busy;
        }
    }
    // Work longer than any working day: it has to go over several; the last start that ignores the night.
    deadline - busy
}

/// The instant by which `span` of working hours has passed since `from`, by the clock of the place, any day of the week.
#[must_use]
pub fn after_working_hours(
    from: DateTime<Utc>,
    span: TimeDelta,
    zone: Tz,
    hours: WorkingHours,
) -> DateTime<Utc> {
    let (mut left, mut day) = (span, from.with_timezone(&zone).date_naive());
    for _ in 0..DAYS_AHEAD {
        let opens = local_time::first(zone, day.and_time(hours.from)).max(from);
        let closes = local_time::first(zone, day.and_time(hours.to));
        let open_for = (closes - opens).max(TimeDelta::zero());
        if open_for >= left {
            return opens + left;
        }
        left -= open_for;
        let Some(next) = day.succ_opt() else { break };
        day = next;
    }
    from + span
}

/// Ten o'clock on a good day for a longer piece of work: the last Saturday or Sunday up to `last` and after `now`, else the
/// last day before `last` that is still to come; `None` where none is.
#[must_use]
pub fn day_before_end(
    last: NaiveDate,
    now: DateTime<Utc>,
    zone: Tz,
    hours: WorkingHours,
) -> Option<DateTime<Utc>> {
    let today = now.with_timezone(&zone).date_naive();
    let coming = |day: &NaiveDate| *day > today;
    let days: Vec<NaiveDate> =
        (0..14).filter_map(|back| last.checked_sub_days(Days::new(back))).filter(coming).collect();
    let weekend = |day: &&NaiveDate| matches!(day.weekday(), Weekday::Sat | Weekday::Sun);
    let day = days.iter().find(weekend).or_else(|| days.get(1)).or_else(|| days.first())?;
    Some(local_time::first(zone, day.and_time(hours.from.max(WORK_AT))))
}

/// The working hours of a date at the place, cut by sunrise and by sunset.
fn working_window(
    date: NaiveDate,
    site: &Site,
    hours: WorkingHours,
) -> (DateTime<Utc>, DateTime<Utc>) {
    let opens = local_time::first(site.time_zone, date.and_time(hours.from));
    let closes = local_time::first(site.time_zone, date.and_time(hours.to));
    match sun::rise_and_set(date, site.latitude, site.longitude) {
        Some((rise, set)) => {
            (opens.max(rise), closes.min(set - TimeDelta::minutes(DAYLIGHT_MARGIN_MIN)))
        }
        None => (opens, closes),
    }
}

/// Priority by consequence and slack: the table of the alert catalogue. `slack` below zero stays at the highest.
#[must_use]
pub fn priority(consequence: Consequence, slack: TimeDelta) -> Priority {
    use Priority::{High, Low, Medium, Notice};
    let column = if slack > TimeDelta::days(7) {
        0
    } else if slack > TimeDelta::hours(48) {
        1
    } else if slack >= TimeDelta::hours(12) {
        2
    } else {
        3
    };
    let row = match consequence {
        Consequence::Minor => [Notice, Low, Low, Medium],
        Consequence::Major => [Low, Low, Medium, Medium],
        Consequence::Severe => [Low, Medium, Medium, High],
    };
    row.get(column).copied().unwrap_or(High)
}

#[expect(clippy::cast_possible_truncation, reason = "minutes of work fit an i64 of seconds")]
fn minutes(minutes: f64) -> TimeDelta {
    TimeDelta::seconds((minutes.clamp(0.0, 1.0e6) * 60.0) as i64)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::domain::yard::SiteKind;

    pub(crate) fn site() -> Site {
        Site {
            id: "LOT".into(),
            name: "Lot".into(),
            kind: SiteKind::Outdoor,
            latitude: 44.2,
            longitude: -69.1,
            elevation_m: 10.0,
            terrain: "inland hollow".into(),
            water_kind: "none".into(),
            heat_setpoint: None,
            power_needed: false,
            night_offset_k: -3.0,
            time_zone: chrono_tz::America::New_York,
            soak_hours: None,
            soak_outside: None,
            water_temperature_c: vec![],
            travel_minutes: 25.0,
            duty_phone: None,
            notes: String::new(),
            own_nights: None,
        }
    }

    fn local(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn work_before_a_night_freeze_ends_before_sunset_of_the_day_before() {
        // Sunset there on 19 Nov is about 16:04; work has to end by 15:34.
        let danger = local("2022-11-20T03:00:00-05:00");
        let start = latest_start(danger, 20.0, 25.0, &site(), WorkingHours::default());
        let wall = start.with_timezone(&site().time_zone).format("%d %H:%M").to_string();
        assert!(("19 14:44".."19 14:55").contains(&wall.as_str()), "{wall}");
    }

    #[test]
    fn a_danger_at_breakfast_leaves_only_the_day_before() {
        let danger = local("2022-11-20T08:30:00-05:00");
        let start = latest_start(danger, 20.0, 0.0, &site(), WorkingHours::default());
        assert_eq!(start.with_timezone(&site().time_zone).date_naive().to_string(), "2022-11-19");
    }

    #[test]
    fn an_afternoon_danger_leaves_the_morning() {
        let danger = local("2023-02-03T15:00:00-05:00");
        let start = latest_start(danger, 60.0, 0.0, &site(), WorkingHours::default());
        assert_eq!(start, local("2023-02-03T12:00:00-05:00"));
    }

    #[test]
    fn past_its_latest_start_a_severe_row_is_high() {
        assert_eq!(priority(Consequence::Severe, TimeDelta::hours(-3)), Priority::High);
        assert_eq!(priority(Consequence::Severe, TimeDelta::hours(30)), Priority::Medium);
        assert_eq!(priority(Consequence::Minor, TimeDelta::days(8)), Priority::Notice);
    }
}
