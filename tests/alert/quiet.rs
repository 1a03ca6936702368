//! Quiet hours by the clock of the place.

use chrono::{DateTime, TimeZone, Utc};
use rimeward::domain::alert::AlertSettings;
use rimeward::domain::alert::quiet::not_before;
use rimeward::domain::risk::Priority;
use rimeward::domain::yard::Role;

use super::world::person;

fn utc(month: u32, day: u32, hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2022, month, day, hour, 0, 0).unwrap()
}

#[test]
fn medium_is_held_till_seven_unless_the_latest_start_is_before_nine() {
    let zone = chrono_tz::America::New_York;
    let owner = person("P02", Role::Owner, "Tess");
    let settings = AlertSettings::default();
    let held = |priority, start, now| not_before(&owner, zone, &settings, priority, start, now);
    // 22:00 EST on 17 November is 03:00 UTC on the 18th; 07:00 EST is 12:00 UTC.
    let night = utc(11, 18, 3);
    assert_eq!(held(Priority::Medium, None, night), Some(utc(11, 18, 12)));
    assert_eq!(held(Priority::High, None, night), None);
    assert_eq!(held(Priority::Medium, Some(utc(11, 18, 13)), night), None, "08:00");
    assert_eq!(held(Priority::Low, Some(utc(11, 18, 14)), night), Some(utc(11, 18, 12)), "09:00");
    assert_eq!(held(Priority::Medium, Some(utc(11, 17, 20)), night), None, "passed at 15:00");
    assert_eq!(held(Priority::Low, None, utc(11, 18, 11)), Some(utc(11, 18, 12)), "06:00");
    assert_eq!(held(Priority::Low, None, utc(11, 18, 12)), None, "07:00");
    assert_eq!(held(Priority::Low, None, utc(11, 18, 20)), None, "15:00");
}

#[test]
fn the_night_in_which_clocks_change_is_held_by_the_local_clock() {
    let zone = chrono_tz::America::New_York;
    let owner = person("P02", Role::Owner, "Tess");
    let settings = AlertSettings::default();
    // 5 November 2022, 22:00 EDT; at 02:00 clocks go back, so 07:00 is EST.
    let held = not_before(&owner, zone, &settings, Priority::Low, None, utc(11, 6, 2));
    assert_eq!(held, Some(utc(11, 6, 12)));
    // 12 March 2022, 22:00 EST; at 02:00 clocks go forward, so 07:00 is EDT.
    let held = not_before(&owner, zone, &settings, Priority::Low, None, utc(3, 13, 3));
    assert_eq!(held, Some(utc(3, 13, 11)));
}

#[test]
fn an_operator_without_quiet_hours_has_none() {
    let operator = person("P54", Role::Operator, "Sandy");
    let settings = AlertSettings::default();
    let zone = chrono_tz::America::New_York;
    assert_eq!(
        not_before(&operator, zone, &settings, Priority::Medium, None, utc(11, 18, 3)),
        None
    );
}
