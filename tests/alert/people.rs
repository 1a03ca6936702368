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
    decision.notifications.iter().map(|notification| notification.recipient.to_string()).collect()
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

#[test]
fn an_owner_hears_from_the_chance_that_they_chose_and_the_yard_by_the_thresholds() {
    let at_chance = |chance: f64, wish: Option<f64>| {
        let mut world = World::boat();
        let now = at(10, 12);
        let mut block = row("block_raw", Consequence::Severe, chance);
        // More than a day is left: the last chance to act is not at hand.
        block.latest_start = Some(now + TimeDelta::hours(40));
        block.first_danger = Some(now + TimeDelta::hours(46));
        block.slack_s = Some(40 * 3600);
        world.set_rows(vec![block]);
        world.set_low(-8.0, now + TimeDelta::hours(46));
        world.situation.people[0].tell_at_chance = wish;
        world.round(now);
        let decision = world.round(now + TimeDelta::hours(3));
        decision.notifications.iter().map(|t| t.recipient.to_string()).collect::<Vec<_>>()
    };
    assert!(at_chance(0.06, None).is_empty(), "below the threshold of 10 %");
    assert_eq!(at_chance(0.06, Some(0.05)), ["P02"], "1 in 20 is what this owner asked for");
    assert_eq!(at_chance(0.15, Some(0.05)), ["P02", "P51"]);
    assert_eq!(at_chance(0.15, Some(0.3)), ["P51"], "the owner wants to hear later");
    assert!(at_chance(0.01, Some(0.005)).is_empty(), "every night is no choice");
}
