//! What people do to an alert by hand: see it, plan, put it aside, take it back; and who may.

use chrono::{DateTime, Utc};
use chrono_tz::America::New_York;
use rimeward::domain::alert::{AnswerError, Flat, ShelveError, table};
use rimeward::domain::boat::PersonId;
use rimeward::domain::yard::Role;

use super::life::{acts, cold};
use super::world::{World, at, person};

/// Raised at noon of the tenth, to be begun within 22 hours.
fn raised(chance: f64) -> World {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), chance, -5.0, 22);
    world.round(at(10, 12));
    world
}

#[test]
fn shelving_has_limits_ends_by_itself_and_what_is_worse_takes_it_off() {
    let (manager, now) = (person("P51", Role::Manager, "Perry"), at(10, 13));
    let world = raised(0.3);
    let alert = &world.alerts[0];
    let shelve = |until: DateTime<Utc>, reason: &str| {
        alert.shelve((&manager, None), until.with_timezone(&New_York), reason, now)
    };
    assert!(matches!(shelve(at(10, 20), " \n "), Err(ShelveError::NoReason { .. })));
    assert!(matches!(shelve(at(10, 12), "done later"), Err(ShelveError::Past { .. })));
    assert!(matches!(shelve(at(11, 14), "done later"), Err(ShelveError::TooLong { .. })));
    let too_late = shelve(at(11, 10), "done later").unwrap_err();
    assert!(too_late.to_string().contains("must be begun"), "{too_late}");
    assert!(too_late.to_string().contains("EST"), "in the time of the place: {too_late}");
    let hidden = shelve(at(10, 20), "later\u{202e}retal").unwrap_err();
    assert!(hidden.to_string().contains("U+202E"), "{hidden}");
    let stranger = person("P09", Role::Owner, "Gus");
    let late = at(10, 20).with_timezone(&New_York);
    let refused = alert.shelve((&stranger, Some(&"P02".into())), late, "mine", now).unwrap_err();
    assert!(matches!(refused, ShelveError::NotResponsible(_)), "{refused}");
    let (shelved, move_14) = shelve(at(10, 20), "owner is\non the way").unwrap();
    assert_eq!((move_14.row, shelved.flat()), (14, Flat::Shelved));
    assert_eq!(move_14.reason, "owner is on the way");
    // Time: nothing on the shelf, then once that it is still open.
    let mut quiet = raised(0.3);
    quiet.alerts = vec![shelved.clone()];
    quiet.refresh();
    cold(&mut quiet, at(10, 16), 0.3, -5.0, 18);
    assert!(quiet.round(at(10, 16)).notifications.is_empty());
    cold(&mut quiet, at(10, 21), 0.3, -5.0, 13);
    assert_eq!(acts(&quiet.round(at(10, 21)), "P02"), ["update"]);
    assert_eq!(quiet.alerts[0].flat(), Flat::Unacknowledged);
    // Worse: a dearer part at once.
    let mut worse = raised(0.3);
    worse.alerts = vec![shelved];
    worse.refresh();
    cold(&mut worse, at(10, 16), 0.3, -5.0, 18);
    if let rimeward::domain::alert::Target::Boat { rows, .. } = &mut worse.situation.target {
        rows[0].since = Some(at(10, 15));
    }
    worse.situation.settings.update_gap_h = 0.0;
    let off = worse.round(at(10, 16));
    assert_eq!(acts(&off, "P02"), ["update"], "run since: other water");
    assert_eq!(off.transitions.iter().map(|t| t.row).collect::<Vec<_>>(), [16]);
}

#[test]
fn only_who_answers_for_the_boat_may_answer() {
    let world = raised(0.3);
    let (alert, now) = (&world.alerts[0], at(10, 13));
    let owner = PersonId::from("P02");
    let may = |id: &str, role| {
        alert.answer(&person(id, role, "Somebody"), Some(&owner), None, now).is_ok()
    };
    assert!(may("P02", Role::Owner) && may("P51", Role::Manager) && may("P52", Role::Technician));
    assert!(!may("P09", Role::Owner), "the owner of another boat");
    assert!(!may("P54", Role::Operator), "who keeps the program running drains nothing");
    let elsewhere = rimeward::domain::yard::Person {
        sites: vec!["QUAY".into()],
        ..person("P53", Role::Technician, "R. Thimblewood")
    };
    let refused = alert.answer(&elsewhere, Some(&owner), None, now).unwrap_err();
    assert!(matches!(refused, AnswerError::NotResponsible { .. }), "{refused}");
}

#[test]
fn a_plan_ends_before_the_cold() {
    let world = raised(0.3);
    let (alert, now) = (&world.alerts[0], at(10, 13));
    let manager = person("P51", Role::Manager, "Perry");
    let plan = |until: DateTime<Utc>| {
        alert.answer(&manager, None, Some(until.with_timezone(&New_York)), now)
    };
    assert!(matches!(plan(at(10, 12)), Err(AnswerError::PlanPast { .. })));
    // The first dangerous hour is 28 hours after the raise.
    let (seen, step) = plan(at(11, 15)).unwrap();
    assert_eq!((seen.flat(), step.row), (Flat::Acknowledged, 4));
    let late = plan(at(11, 19)).unwrap_err();
    assert!(late.to_string().contains("the cold may be there"), "{late}");
    assert!(late.to_string().contains("EST"), "in the time of the place: {late}");
}

#[test]
fn what_was_put_aside_can_be_taken_back() {
    let world = raised(0.3);
    let (alert, now) = (&world.alerts[0], at(10, 13));
    let manager = person("P51", Role::Manager, "Perry");
    let nothing = alert.unshelve(&manager, None, now).unwrap_err();
    assert!(matches!(nothing, AnswerError::Nothing { .. }), "{nothing}");
    let until = at(10, 20).with_timezone(&New_York);
    let (shelved, _) = alert.shelve((&manager, None), until, "owner is coming", now).unwrap();
    let (back, step) = shelved.unshelve(&manager, None, at(10, 14)).unwrap();
    assert_eq!(back.flat(), Flat::Unacknowledged);
    assert!(table::row(step.row).unwrap().allows(step.from, step.to), "{step:?}");
}
