//! Who hears: the owner, whoever runs the place, and in the last resort whoever keeps the service running.

use chrono::TimeDelta;
use rimeward::domain::boat::PersonId;
use rimeward::domain::risk::Consequence;
use rimeward::domain::yard::Role;

use super::world::{World, at, row};

/// A cold night 20 hours ahead against an undrained block.
fn cold_night() -> World {
    let mut world = World::boat();
    let now = at(10, 12);
    let mut block = row("block_raw", Consequence::Severe, 0.6);
    block.latest_start = Some(now + TimeDelta::hours(20));
    block.first_danger = Some(now + TimeDelta::hours(26));
    block.slack_s = Some(20 * 3600);
    world.set_rows(vec![block]);
    world.set_low(-8.0, now + TimeDelta::hours(26));
    world
}

fn told(world: &mut World) -> Vec<String> {
    let decision = world.round(at(10, 12));
    decision.tellings.iter().map(|telling| telling.recipient.to_string()).collect()
}

#[test]
fn a_boat_that_nobody_answers_for_is_told_to_the_operator() {
    let mut world = cold_night();
    world.situation.people.retain(|person| person.role == Role::Operator);
    assert_eq!(told(&mut world), ["P54"]);
    let mut world = cold_night();
    world.situation.people.retain(|person| person.role != Role::Owner);
    assert_eq!(told(&mut world), ["P51"], "the manager is there to answer for it");
}

#[test]
fn what_never_arrived_is_told_anew() {
    let mut world = cold_night();
    assert_eq!(told(&mut world), ["P02", "P51"]);
    assert!(told(&mut world).is_empty(), "once");
    let owner = PersonId::from("P02");
    world.alerts[0].untell(&owner);
    assert!(!world.alerts[0].known.iter().any(|known| known.person == owner));
    world.refresh();
    assert_eq!(told(&mut world), ["P02"], "and nobody else");
}
