//! Where the yard looks after the boat it hears first, and the owner's first letter waits for it.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::{Advice, Target, WorklistTimes};
use rimeward::domain::boat::Care;
use rimeward::domain::risk::{Consequence, Priority};

use super::world::{Decision, World, at, row};

/// Decided at `now` about a block that must be begun in `slack_h` hours; the next worklist is at 11:30 UTC (06:30 EST).
fn decided(care: Care, now: DateTime<Utc>, slack_h: i64, with_worklist: bool) -> Decision {
    let mut world = World::boat();
    if let Target::Boat { boat, .. } = &mut world.situation.target {
        boat.care = care;
    }
    let mut block = row("block_raw", Consequence::Severe, 0.6);
    block.latest_start = Some(now + TimeDelta::hours(slack_h));
    block.first_danger = Some(now + TimeDelta::hours(slack_h + 6));
    block.slack_s = Some(slack_h * 3600);
    block.priority = if slack_h < 12 { Priority::High } else { Priority::Medium };
    world.set_rows(vec![block]);
    world.set_low(-8.0, now + TimeDelta::hours(slack_h + 6));
    let next = at(10, 11) + TimeDelta::minutes(30);
    let next = if next > now { next } else { next + TimeDelta::days(1) };
    world.situation.worklist =
        with_worklist.then_some(WorklistTimes { in_this_round: false, next });
    let first = world.round(now);
    if !first.notifications.is_empty() {
        return first;
    }
    // The on-delay: the second issue.
    world.round(now + TimeDelta::hours(3))
}

fn owner(decision: &Decision) -> &Advice {
    decision
        .notifications
        .iter()
        .find(|notification| notification.recipient.as_str() == "P02")
        .unwrap()
}

#[test]
fn the_owners_letter_waits_two_working_hours_after_the_worklist() {
    // Decided at 18:00 EST on the ninth, in the second issue at 21:00; the worklist at 06:30, work begins at 08:00.
    let decision = decided(Care::Yard, at(9, 23), 60, true);
    let hold = owner(&decision).hold_until.unwrap();
    assert_eq!(hold, at(10, 15), "10:00 EST");
    assert!(owner(&decision).yard_hears);
}

#[test]
fn with_the_manager_told_in_the_same_round_it_waits_two_working_hours_from_now() {
    let decision = decided(Care::Shared, at(10, 14), 20, true);
    assert!(
        decision.notifications.iter().any(|notification| notification.recipient.as_str() == "P51")
    );
    let owner = owner(&decision);
    // Decided at 09:00 EST. Twelve hours of the twenty have to be left.
    assert_eq!(owner.hold_until, Some(at(10, 16)));
    assert_eq!(owner.hold_most, Some(at(10, 22)));
    let manager = decision.notifications.iter().find(|t| t.recipient.as_str() == "P51").unwrap();
    assert_eq!(manager.owner_hears, owner.hold_until);
    assert_eq!(manager.hold_until, None);
}

#[test]
fn nothing_waits_where_time_is_short_or_nobody_would_look() {
    assert_eq!(owner(&decided(Care::Yard, at(10, 14), 11, true)).hold_until, None, "under 12 h");
    assert_eq!(
        owner(&decided(Care::Owner, at(10, 14), 60, true)).hold_until,
        None,
        "the owner's boat"
    );
    let mut world = World::boat();
    world.situation.people.retain(|person| person.id.as_str() == "P02");
    let mut block = row("block_raw", Consequence::Severe, 0.6);
    block.latest_start = Some(at(11, 10));
    world.set_rows(vec![block]);
    world.set_low(-8.0, at(11, 12));
    let decision = world.round(at(10, 14));
    let notification = owner(&decision);
    assert!(notification.hold_until.is_none() && !notification.yard_hears, "there is no manager");
}

/// An owner who asked to be told at 1 in 20 hears alone of what the yard's thresholds leave out. Where no worklist lists it either,
/// nothing says that the yard knows, and nothing waits for a yard that is not told.
#[test]
fn a_letter_at_the_owners_own_chance_does_not_say_that_the_yard_knows() {
    let told_at = |chance: f64, with_worklist: bool| {
        let mut world = World::boat();
        let Target::Boat { boat, .. } = &mut world.situation.target else { panic!("a boat") };
        boat.care = Care::Yard;
        for person in &mut world.situation.people {
            if person.id.as_str() == "P02" {
                person.tell_at_chance = Some(0.05);
            }
        }
        let now = at(10, 14);
        let mut block = row("block_raw", Consequence::Severe, chance);
        block.latest_start = Some(now + TimeDelta::hours(40));
        block.first_danger = Some(now + TimeDelta::hours(46));
        block.slack_s = Some(40 * 3600);
        block.priority = Priority::Medium;
        world.set_rows(vec![block]);
        world.set_low(-8.0, now + TimeDelta::hours(50));
        let worklist = WorklistTimes { in_this_round: false, next: at(11, 11) };
        world.situation.worklist = with_worklist.then_some(worklist);
        let first = world.round(now);
        if first.notifications.is_empty() { world.round(now + TimeDelta::hours(3)) } else { first }
    };
    let alone = told_at(0.06, false);
    let letter = owner(&alone);
    assert!(!letter.yard_hears && letter.hold_until.is_none(), "{letter:?}");
    let listed = told_at(0.06, true);
    assert!(owner(&listed).yard_hears);
    let both = told_at(0.6, false);
    assert!(owner(&both).yard_hears);
}
