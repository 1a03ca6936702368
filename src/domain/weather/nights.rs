//! What a place's own thermometer has read of its nights, as the hours that it speaks for: of these nobody knows more.

use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;

use super::Step;
use super::learned::ReadNight;
use crate::domain::local_time;

/// A night runs from six in the evening ...
const NIGHT_H: i64 = 15;
/// ... and ends at nine in the morning.
const ENDS: NaiveTime = match NaiveTime::from_hms_opt(9, 0, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};
/// Where nobody else knows the night, the low stands for so many hours ...
const LOW_FOR_H: i64 = 4;
/// ... that end so long before the night does: about sunrise.
const LOW_ENDS_BEFORE_H: i64 = 2;

/// Puts the nights over the hours: those that are known are moved so that the night's lowest is the one that was read.
pub fn put_nights(hours: &mut [Step], nights: &[ReadNight], zone: Tz) {
    for night in nights {
        let ends = local_time::first(zone, night.morning.and_time(ENDS));
        put_night(hours, ends, night.low_c);
    }
}

fn put_night(hours: &mut [Step], ends: DateTime<Utc>, low_c: f64) {
    let from = hours.partition_point(|step| step.time < ends - TimeDelta::hours(NIGHT_H));
    let until = hours.partition_point(|step| step.time < ends);
    // A night that the hours hold only in part may have had its low in the other.
    let whole = i64::try_from(until - from).is_ok_and(|count| count == NIGHT_H);
    let Some(night) = hours.get_mut(from..until).filter(|_| whole) else { return };
    let known = night.iter().filter_map(|step| step.temperature_c);
    let Some(lowest_c) = known.min_by(f64::total_cmp) else {
        let low_ends = ends - TimeDelta::hours(LOW_ENDS_BEFORE_H);
        let low = (low_ends - TimeDelta::hours(LOW_FOR_H))..low_ends;
        let about = night.iter_mut().filter(|step| low.contains(&step.time));
        about.for_each(|step| step.temperature_c = Some(low_c));
        return;
    };
    for step in night {
        step.temperature_c = step.temperature_c.map(|air_c| air_c + low_c - lowest_c);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_low_that_was_read_is_the_low_of_the_night() {
        let start: DateTime<Utc> = "2022-12-10T12:00:00Z".parse().unwrap();
        let night = ReadNight {
            site: "LOT".into(),
            morning: "2022-12-11".parse().unwrap(),
            low_c: -9.0,
            high_c: None,
        };
        let hours = |air: Option<f64>| {
            let step = |hour: i64| Step {
                temperature_c: air.map(|air| air + if hour == 20 { -1.0 } else { 0.0 }),
                ..Step::empty(start + TimeDelta::hours(hour))
            };
            let mut hours: Vec<Step> = (0..30).map(step).collect();
            put_nights(&mut hours, std::slice::from_ref(&night), chrono_tz::UTC);
            hours.iter().map(|step| step.temperature_c).collect::<Vec<_>>()
        };
        let known = hours(Some(-3.0));
        assert_eq!(
            (known[5], known[6], known[20], known[21]),
            (Some(-3.0), Some(-8.0), Some(-9.0), Some(-3.0))
        );
        let only_read = hours(None);
        assert_eq!(only_read.iter().flatten().count(), 4);
        assert_eq!(only_read[18], Some(-9.0));
    }
}
