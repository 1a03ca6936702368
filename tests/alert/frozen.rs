//! What was told as frozen: it keeps back no letter about what can still be done.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::{Act, CloseReason, Target, Worse};
use rimeward::domain::risk::{CircuitRisk, Consequence};

use super::life::acts;
use super::world::{World, at, row};

fn frozen(name: &str, consequence: Consequence) -> CircuitRisk {
    let mut row = row(name, consequence, 1.0);
    (row.frozen_now, row.minutes) = (true, 0.0);
    row
}

/// Liquid, in danger tomorrow, with time for its work.
fn open(name: &str, consequence: Consequence, now: DateTime<Utc>) -> CircuitRisk {
    let mut row = row(name, consequence, 0.95);
    row.first_danger = Some(now + TimeDelta::hours(26));
    row.latest_start = Some(now + TimeDelta::hours(20));
    row.slack_s = Some(20 * 3600);
    row
}

fn round(world: &mut World, now: DateTime<Utc>, rows: Vec<CircuitRisk>) -> super::world::Decision {
    world.set_rows(rows);
    world.set_low(-31.0, now + TimeDelta::hours(30));
    world.round(now)
}

#[test]
fn a_false_word_of_ice_does_not_keep_back_the_true_letter() {
    for after_h in [1, 6, 30, 60, 200] {
        let mut world = World::boat();
        let all = ["block_raw", "strainer", "pot_lines"];
        let ice = || all.map(|name| frozen(name, Consequence::Severe)).to_vec();
        assert_eq!(acts(&round(&mut world, at(10, 12), ice()), "P02"), ["raise"]);
        for hour in (1..after_h).step_by(3) {
            let now = at(10, 12) + TimeDelta::hours(hour);
            assert!(!acts(&round(&mut world, now, ice()), "P02").contains(&"raise"));
        }
        let now = at(10, 12) + TimeDelta::hours(after_h);
        let rows = all.map(|name| open(name, Consequence::Severe, now)).to_vec();
        let decided = round(&mut world, now, rows);
        let told = decided.notifications.iter().find(|advice| advice.recipient.as_str() == "P02");
        let told = told.unwrap_or_else(|| panic!("{after_h} h after: {decided:?}"));
        match &told.act {
            Act::Raise { .. } => {}
            Act::Update { worse } => {
                assert!(
                    matches!(&worse[0], Worse::Possible { parts } if parts.len() == 3),
                    "{worse:?}"
                );
            }
            Act::Close { .. } => panic!("{after_h} h after: {told:?}"),
        }
        assert!(told.facts.latest_start.is_some() && told.facts.minutes > 0.0);
        assert!(acts(&round(&mut world, now + TimeDelta::hours(1), Vec::new()), "P02").is_empty());
    }
}

#[test]
fn a_frozen_part_keeps_back_no_other_part() {
    let mut world = World::boat();
    round(&mut world, at(10, 12), vec![frozen("block_raw", Consequence::Severe)]);
    let now = at(10, 20);
    let rows =
        vec![frozen("block_raw", Consequence::Severe), open("pot_lines", Consequence::Major, now)];
    let mut decided = round(&mut world, now, rows.clone());
    // A letter a day on what is not dearer than what was told; never none.
    for hour in [4, 8, 12, 17] {
        if !decided.notifications.is_empty() {
            break;
        }
        decided = round(&mut world, now + TimeDelta::hours(hour), rows.clone());
    }
    assert_eq!(acts(&decided, "P02"), ["update"]);
    let told = &decided.notifications[0].facts;
    assert_eq!(told.lead().unwrap().circuit.as_str(), "pot_lines", "what can be helped leads");
    assert_eq!(told.first_danger, rows[1].first_danger);
}

#[test]
fn what_was_told_as_frozen_ends_as_test_before_start_and_is_told_once_more_before_it_floods() {
    let mut world = World::boat();
    if let Target::Boat { state, .. } = &mut world.situation.target {
        state.afloat = true;
    }
    let ice = |thaws_at| {
        let mut row = frozen("strainer", Consequence::Severe);
        (row.ice.floods, row.ice.thaws_at) = (true, thaws_at);
        vec![row]
    };
    let mut said = Vec::new();
    for hour in (0..240).step_by(6) {
        let now = at(10, 12) + TimeDelta::hours(hour);
        let thaws_at = (hour >= 120).then(|| at(10, 12) + TimeDelta::hours(200));
        let decided = round(&mut world, now, ice(thaws_at.filter(|thaw| *thaw > now)));
        said.extend(acts(&decided, "P02").into_iter().map(|act| (hour, act)));
    }
    assert_eq!(said, [(0, "raise"), (30, "close"), (168, "raise"), (198, "close")], "{said:?}");
    let closings = world.notifications.iter().filter_map(|advice| match &advice.act {
        Act::Close { reason, .. } => Some(reason.clone()),
        _ => None,
    });
    assert!(
        closings.clone().count() > 0 && closings.into_iter().all(|why| why == CloseReason::Passed)
    );
}
