//! Kept back by a written rule, taken out of service, taken back: nobody who was told is left waiting, and nothing is forgotten.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::{Act, Alert, CloseReason, Flat, TakeOutError};
use rimeward::domain::yard::{Person, Role};

use super::life::{acts, cold};
use super::world::{Decision, World, at, people};

fn manager() -> Person {
    people().into_iter().find(|person| person.role == Role::Manager).unwrap()
}

fn raised() -> World {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.9, -12.0, 20);
    assert_eq!(acts(&world.round(at(10, 12)), "P02"), ["raise"]);
    world
}

fn swap(world: &mut World, next: Alert) {
    world.alerts.retain(|old| old.id != next.id);
    world.alerts.push(next);
    world.refresh();
}

fn reason(decision: &Decision) -> &CloseReason {
    match &decision.notifications[0].act {
        Act::Close { reason, .. } => reason,
        other => panic!("{other:?}"),
    }
}

/// Still cold outside, and nothing over its limit in the warm.
fn warm(world: &mut World, now: DateTime<Utc>) -> Decision {
    cold(world, now, 0.0, -12.0, 20);
    world.situation.heated = true;
    world.round(now)
}

#[test]
fn a_boat_brought_into_the_warm_is_followed_again_when_the_heat_fails() {
    let mut world = raised();
    let in_the_warm = warm(&mut world, at(10, 18));
    assert!(matches!(reason(&in_the_warm), CloseReason::NotFollowed { until: None, .. }));
    assert_eq!(
        (acts(&in_the_warm, "P02"), acts(&in_the_warm, "P51")),
        (vec!["close"], vec!["close"])
    );
    assert_eq!(world.alerts[0].flat(), Flat::SuppressedByDesign);
    assert!(warm(&mut world, at(11, 0)).notifications.is_empty(), "once");
    // The heat fails: the same alert speaks again, to everybody who was told that it does not.
    world.situation.heated = false;
    cold(&mut world, at(11, 6), 0.9, -12.0, 10);
    let failed = world.round(at(11, 6));
    assert_eq!(acts(&failed, "P02"), ["raise"]);
    assert_eq!((world.alerts.len(), world.alerts[0].flat()), (1, Flat::Unacknowledged));
    // Back in the warm, out again on a mild day: over without another word.
    assert_eq!(acts(&warm(&mut world, at(11, 12)), "P02"), ["close"]);
    world.situation.heated = false;
    cold(&mut world, at(12, 12), 0.0, 8.0, 40);
    assert!(world.round(at(12, 12)).notifications.is_empty());
    assert_eq!(world.alerts[0].flat(), Flat::Closed);
}

#[test]
fn in_danger_in_the_warm_is_in_danger() {
    let mut world = raised();
    world.situation.heated = true;
    cold(&mut world, at(10, 18), 0.9, -12.0, 14);
    assert!(
        world.round(at(10, 18)).notifications.iter().all(|t| !matches!(t.act, Act::Close { .. }))
    );
    assert_eq!(world.alerts[0].flat(), Flat::Unacknowledged);
}

#[test]
fn out_of_service_is_told_once_and_ends_by_itself_on_the_day_of_the_review() {
    let mut world = raised();
    let review = at(13, 12).with_timezone(&chrono_tz::UTC);
    let open = world.situation.open.clone().unwrap();
    let (out, step) =
        open.take_out(&manager(), review, " sold,  to be\nfetched ", at(10, 13)).unwrap();
    assert_eq!((step.row, out.flat()), (19, Flat::OutOfService));
    swap(&mut world, out);
    cold(&mut world, at(10, 18), 0.95, -14.0, 14);
    let told = world.round(at(10, 18));
    assert_eq!(acts(&told, "P02"), ["close"]);
    let CloseReason::NotFollowed { why, until } = reason(&told) else { panic!("{told:?}") };
    assert_eq!((why.as_str(), *until), ("sold, to be fetched", Some(at(13, 12))));
    for hours in [24, 30, 36] {
        let now = at(10, 0) + TimeDelta::hours(hours);
        cold(&mut world, now, 0.95, -14.0, 10);
        assert!(world.round(now).notifications.is_empty(), "not followed");
    }
    cold(&mut world, at(13, 13), 0.95, -14.0, 10);
    world.round(at(13, 13));
    cold(&mut world, at(13, 19), 0.95, -14.0, 4);
    assert_eq!(acts(&world.round(at(13, 19)), "P02"), ["raise"], "followed again");
}

#[test]
fn only_the_yard_may_and_with_a_reason_and_a_near_day() {
    let world = raised();
    let open = world.situation.open.clone().unwrap();
    let owner = people().into_iter().find(|person| person.id.as_str() == "P02").unwrap();
    let day = |days: i64| (at(10, 13) + TimeDelta::days(days)).with_timezone(&chrono_tz::UTC);
    let out = |by: &Person, days, why| open.take_out(by, day(days), why, at(10, 13)).map(|_| ());
    assert!(matches!(out(&owner, 3, "sold"), Err(TakeOutError::NotTheYard { .. })));
    assert!(matches!(out(&manager(), 3, "  "), Err(TakeOutError::NoReason { .. })));
    assert!(matches!(out(&manager(), 0, "sold"), Err(TakeOutError::Review { .. })));
    assert!(matches!(out(&manager(), 91, "sold"), Err(TakeOutError::Review { .. })));
    assert!(matches!(open.put_back(&manager(), at(10, 13)), Err(TakeOutError::Standing { .. })));
}

#[test]
fn what_was_issued_in_error_is_taken_back_and_raised_anew_where_the_record_still_says_so() {
    let mut world = raised();
    let open = world.situation.open.clone().unwrap();
    swap(&mut world, open.take_back(&manager(), "wrong boat").unwrap());
    cold(&mut world, at(10, 15), 0.9, -12.0, 17);
    let taken = world.round(at(10, 15));
    assert!(matches!(reason(&taken), CloseReason::Cancelled { why } if why.contains("wrong boat")));
    assert_eq!(acts(&taken, "P02"), ["close"]);
    assert_eq!(world.alerts[0].flat(), Flat::Closed);
    cold(&mut world, at(10, 18), 0.9, -12.0, 14);
    assert_eq!(acts(&world.round(at(10, 18)), "P02"), ["raise"], "the record was not corrected");
    assert_eq!(world.alerts.len(), 2);
}
