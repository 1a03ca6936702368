//! Raise once, update when worse than last told, close once.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::{Act, CloseReason, Flat, Worse};
use rimeward::domain::boat::Holds;
use rimeward::domain::risk::{Consequence, Priority};
use rimeward::domain::weather::ForecastState;

use super::world::{Decision, World, at, row};

pub fn cold(world: &mut World, now: DateTime<Utc>, chance: f64, low_c: f64, slack_h: i64) {
    let mut block = row("block_raw", Consequence::Severe, chance);
    block.latest_start = Some(now + TimeDelta::hours(slack_h));
    block.first_danger = Some(now + TimeDelta::hours(slack_h + 6));
    block.slack_s = Some(slack_h * 3600);
    world.set_rows(vec![block]);
    world.set_low(low_c, now + TimeDelta::hours(slack_h + 6));
}

pub fn acts(decision: &Decision, person: &str) -> Vec<&'static str> {
    decision
        .notifications
        .iter()
        .filter(|notification| notification.recipient.as_str() == person)
        .map(|notification| match notification.act {
            Act::Raise { .. } => "raise",
            Act::Update { .. } => "update",
            Act::Close { .. } => "close",
        })
        .collect()
}

#[test]
fn one_issue_over_the_limit_is_not_enough_but_two_are() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.2, -5.0, 60);
    assert!(world.round(at(10, 12)).notifications.is_empty());
    cold(&mut world, at(10, 14), 0.2, -5.0, 58);
    assert!(world.round(at(10, 14)).notifications.is_empty(), "two hours apart are one issue");
    cold(&mut world, at(10, 15), 0.2, -5.0, 57);
    let raised = world.round(at(10, 15));
    assert_eq!(acts(&raised, "P02"), ["raise"]);
    assert_eq!(acts(&raised, "P51"), ["raise"]);
    assert!(acts(&raised, "P54").is_empty(), "the operator has nothing to drain");
    assert_eq!(world.alerts[0].id.as_str(), "freeze-B02-1");
    cold(&mut world, at(10, 18), 0.2, -5.0, 54);
    assert!(world.round(at(10, 18)).notifications.is_empty(), "told once");
}

#[test]
fn short_slack_waives_the_on_delay_and_a_lapse_starts_it_anew() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.2, -5.0, 20);
    assert_eq!(acts(&world.round(at(10, 12)), "P02"), ["raise"]);

    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.2, -5.0, 60);
    world.round(at(10, 12));
    cold(&mut world, at(10, 18), 0.01, 5.0, 54);
    world.round(at(10, 18));
    cold(&mut world, at(11, 0), 0.2, -5.0, 48);
    assert!(world.round(at(11, 0)).notifications.is_empty(), "the first issue no longer counts");
}

#[test]
fn only_what_is_worse_than_last_told_is_told_again() {
    let mut world = World::boat();
    world.situation.settings.update_gap_h = 0.0;
    cold(&mut world, at(10, 12), 0.30, -5.0, 20);
    world.round(at(10, 12));
    for (hour, chance, low) in [(13, 0.34, -6.0), (14, 0.2, -4.0), (15, 0.31, -7.4)] {
        cold(&mut world, at(10, hour), chance, low, 33 - i64::from(hour));
        assert!(world.round(at(10, hour)).notifications.is_empty(), "{hour}");
    }
    cold(&mut world, at(10, 16), 0.8, -8.2, 16);
    let update = world.round(at(10, 16));
    assert_eq!(acts(&update, "P02"), ["update"]);
    let Act::Update { worse } = &update.notifications[0].act else { panic!("an update") };
    assert!(matches!(worse[..], [Worse::Chance { .. }]), "water freezes or not: {worse:?}");
    assert_eq!(update.notifications[0].revision, 2);
}

#[test]
fn a_third_message_in_a_day_waits_unless_it_presses() {
    let mut world = World::boat();
    world.situation.settings.update_gap_h = 0.0;
    let rows = |names: &[&str]| {
        let severe = |name: &&str| {
            let mut row = row(name, Consequence::Severe, 0.2);
            row.latest_start = Some(at(11, 8));
            row
        };
        names.iter().map(severe).collect::<Vec<_>>()
    };
    world.set_low(-5.0, at(11, 10));
    world.set_rows(rows(&["block_raw"]));
    world.round(at(10, 12));
    world.set_rows(rows(&["block_raw", "strainer"]));
    assert_eq!(acts(&world.round(at(10, 15)), "P02"), ["update"]);
    world.set_rows(rows(&["block_raw", "strainer", "pot_lines"]));
    assert!(acts(&world.round(at(10, 18)), "P02").is_empty(), "the third in a day");
    if let rimeward::domain::alert::Target::Boat { rows, .. } = &mut world.situation.target {
        rows[0].priority = Priority::High;
    }
    assert_eq!(acts(&world.round(at(10, 19)), "P02"), ["update"], "high passes");
}

#[test]
fn a_new_system_is_worse_but_not_one_that_was_named_as_near() {
    let mut world = World::boat();
    world.situation.settings.update_gap_h = 0.0;
    let rows = |now: DateTime<Utc>, strainer: f64, house: f64| {
        let mut rows = vec![
            row("block_raw", Consequence::Severe, 0.3),
            row("strainer", Consequence::Major, strainer),
            row("pot_lines", Consequence::Severe, house),
        ];
        for row in &mut rows {
            row.latest_start = Some(at(11, 8));
            row.slack_s = Some((at(11, 8) - now).num_seconds());
        }
        rows
    };
    world.set_low(-5.0, at(11, 10));
    let without = |mut rows: Vec<rimeward::domain::risk::CircuitRisk>| {
        rows.truncate(2);
        rows
    };
    world.set_rows(without(rows(at(10, 12), 0.15, 0.0)));
    world.round(at(10, 12));
    world.set_rows(without(rows(at(10, 13), 0.25, 0.0)));
    assert!(world.round(at(10, 13)).notifications.is_empty(), "the strainer was named");
    world.set_rows(rows(at(10, 14), 0.25, 0.35));
    let update = world.round(at(10, 14));
    let Act::Update { worse } = &update.notifications[0].act else { panic!("an update") };
    assert!(matches!(&worse[..], [Worse::Systems { new }] if new.len() == 1), "{worse:?}");
}

#[test]
fn likelier_is_told_once_and_not_within_a_day_of_the_last_word() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.12, -5.0, 60);
    world.round(at(10, 12));
    cold(&mut world, at(10, 16), 0.12, -5.0, 56);
    assert_eq!(acts(&world.round(at(10, 16)), "P02"), ["raise"]);
    cold(&mut world, at(10, 20), 0.9, -5.0, 52);
    assert!(world.round(at(10, 20)).notifications.is_empty(), "four hours after the last word");
    cold(&mut world, at(11, 17), 0.9, -5.0, 31);
    assert_eq!(acts(&world.round(at(11, 17)), "P02"), ["update"]);
    cold(&mut world, at(12, 18), 0.97, -9.0, 6);
    assert!(acts(&world.round(at(12, 18)), "P02").is_empty(), "one update in an episode");
}

#[test]
fn the_last_call_goes_out_two_days_after_the_last_word_while_there_is_time() {
    let mut world = World::boat();
    for (day, hour, slack, expected) in
        [(10, 12, 70, vec![]), (10, 16, 66, vec!["raise"]), (12, 17, 17, vec!["update"])]
    {
        cold(&mut world, at(day, hour), 0.3, -5.0, slack);
        if let (true, rimeward::domain::alert::Target::Boat { rows, .. }) =
            (slack < 20, &mut world.situation.target)
        {
            rows[0].priority = Priority::High;
        }
        assert_eq!(acts(&world.round(at(day, hour)), "P02"), expected, "{day} {hour}");
    }
    let Act::Update { worse } = &world.notifications.last().unwrap().act else {
        panic!("an update")
    };
    assert!(worse.iter().any(|worse| matches!(worse, Worse::Priority { .. })), "{worse:?}");
}

#[test]
fn a_part_of_minor_harm_is_no_news_beside_a_block_but_a_refilled_part_is() {
    let mut world = World::boat();
    world.situation.settings.update_gap_h = 0.0;
    let block = |since: Option<DateTime<Utc>>| {
        let mut row = row("block_raw", Consequence::Severe, 0.9);
        row.since = since;
        row.latest_start = Some(at(11, 8));
        row
    };
    world.set_low(-5.0, at(11, 10));
    world.set_rows(vec![block(None)]);
    world.round(at(10, 12));
    world.set_rows(vec![block(None), row("washdown", Consequence::Minor, 0.9)]);
    assert!(world.round(at(10, 13)).notifications.is_empty(), "a deck wash");
    world.set_rows(vec![block(Some(at(10, 13)))]);
    let update = world.round(at(10, 14));
    assert_eq!(acts(&update, "P02"), ["update"], "run again since: the same part, other water");
}

#[test]
fn it_closes_once_after_two_issues_and_three_days_and_everybody_hears() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -5.0, 20);
    world.round(at(10, 12));
    let mut closings = Vec::new();
    for hour in (0..120).step_by(3) {
        let now = at(12, 0) + TimeDelta::hours(hour);
        cold(&mut world, now, 0.01, 3.0, 70);
        let decision = world.round(now);
        closings.extend(decision.notifications.iter().map(|t| (hour, t.recipient.clone())));
    }
    let hours: Vec<i64> = closings.iter().map(|(hour, _)| *hour).collect();
    assert_eq!(hours, [72, 72], "once, after three days, to both");
    assert_eq!(world.alerts.len(), 1);
    assert_eq!(world.alerts[0].flat(), Flat::Closed, "a day after the return");
    let Act::Close { reason, .. } = &world.notifications.last().unwrap().act else {
        panic!("close")
    };
    assert_eq!(*reason, CloseReason::Returned);
}

#[test]
fn milder_than_off_but_not_by_the_deadband_stays_open() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -0.5, 20);
    world.round(at(10, 12));
    for hour in (0..96).step_by(6) {
        let now = at(12, 0) + TimeDelta::hours(hour);
        cold(&mut world, now, 0.01, 0.4, 70);
        assert!(world.round(now).notifications.is_empty(), "0.4 C is within 1.0 K of -0.5 C");
    }
}

#[test]
fn done_closes_at_once_and_says_so() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -5.0, 20);
    world.round(at(10, 12));
    world.record("block_raw", Holds::Drained, at(10, 16));
    world.set_rows(Vec::new());
    let decision = world.round(at(10, 17));
    assert_eq!(acts(&decision, "P02"), ["close"]);
    let Act::Close { reason, records } = &decision.notifications[0].act else { panic!("close") };
    assert_eq!(*reason, CloseReason::Done);
    assert!(records.iter().any(|line| line.holds == Holds::Drained));
    assert_eq!(world.alerts[0].flat(), Flat::Closed);
    cold(&mut world, at(12, 12), 0.3, -5.0, 20);
    world.round(at(12, 12));
    assert_eq!(world.alerts.last().unwrap().id.as_str(), "freeze-B02-2", "a new episode");
}

#[test]
fn a_row_that_is_missing_while_the_record_is_wet_is_not_harmless() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -5.0, 20);
    world.round(at(10, 12));
    for hour in (0..72).step_by(6) {
        let now = at(12, 0) + TimeDelta::hours(hour);
        world.set_rows(Vec::new());
        world.set_low(8.0, now);
        assert!(world.round(now).notifications.is_empty());
    }
}

#[test]
fn what_has_frozen_ends_the_episode_once_and_is_no_news_while_the_record_stays() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -5.0, 20);
    world.round(at(10, 12));
    let frozen = |world: &mut World, now: DateTime<Utc>, since: Option<DateTime<Utc>>| {
        cold(world, now, 1.0, -9.0, 1);
        if let rimeward::domain::alert::Target::Boat { rows, .. } = &mut world.situation.target {
            (rows[0].frozen_now, rows[0].since) = (true, since);
        }
    };
    let mut said = Vec::new();
    for hour in (0..240).step_by(6) {
        let now = at(12, 0) + TimeDelta::hours(hour);
        frozen(&mut world, now, None);
        said.extend(world.round(now).notifications.iter().map(|t| (hour, t.recipient.clone())));
    }
    assert_eq!(said.iter().map(|(hour, _)| *hour).collect::<Vec<_>>(), [24, 24], "{said:?}");
    let Act::Close { reason, .. } = &world.notifications.last().unwrap().act else {
        panic!("close")
    };
    assert_eq!(*reason, CloseReason::Passed);
    // A thaw, another spell: the same water in the same block is no news. The judge has it frozen as long as it looks back.
    for hour in (0..240).step_by(6) {
        let now = at(22, 0) + TimeDelta::hours(hour);
        frozen(&mut world, now, None);
        assert!(world.round(now).notifications.is_empty(), "{hour}");
    }
    // Run since: other water.
    frozen(&mut world, at(32, 12), Some(at(32, 0)));
    assert_eq!(acts(&world.round(at(32, 12)), "P02"), ["raise"]);
}

#[test]
fn a_small_part_is_told_once_and_its_harm_growing_is_news() {
    let mut world = World::boat();
    let mut told = Vec::new();
    for spell in 0..3 {
        for hour in (0..240).step_by(6) {
            let now = at(1, 0) + TimeDelta::days(spell * 10) + TimeDelta::hours(hour);
            let mut part = row("washdown", Consequence::Minor, if hour < 48 { 0.5 } else { 0.0 });
            part.latest_start = Some(now + TimeDelta::hours(50));
            world.set_rows(vec![part]);
            world.set_low(if hour < 48 { -2.0 } else { 8.0 }, now + TimeDelta::hours(60));
            told.extend(acts(&world.round(now), "P02"));
        }
    }
    assert_eq!(told, ["raise", "close"], "three mild spells");
}

#[test]
fn a_manager_is_interrupted_only_for_what_the_next_worklist_comes_too_late_for() {
    use rimeward::domain::alert::WorklistTimes;
    for (next_h, slack_h, heard) in [(14, 40, false), (14, 12, true), (62, 40, true)] {
        let mut world = World::boat();
        let now = at(10, 12);
        world.situation.worklist =
            Some(WorklistTimes { in_this_round: false, next: now + TimeDelta::hours(next_h) });
        cold(&mut world, now, 0.3, -5.0, slack_h);
        world.round(now);
        cold(&mut world, now + TimeDelta::hours(4), 0.3, -5.0, slack_h - 4);
        let again = world.round(now + TimeDelta::hours(4));
        let all: Vec<&str> = world.notifications.iter().map(|t| t.recipient.as_str()).collect();
        assert_eq!(all.contains(&"P51"), heard, "{next_h} {slack_h}: {all:?} {again:?}");
        assert!(all.contains(&"P02"), "the owner hears in any case");
    }
}

#[test]
fn a_plan_that_is_not_kept_is_asked_after_once() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -5.0, 40);
    world.round(at(10, 12));
    cold(&mut world, at(10, 16), 0.3, -5.0, 36);
    world.round(at(10, 16));
    let planned = at(11, 14);
    let (next, _) = world.alerts[0].acknowledge("P02".into(), Some(planned), at(10, 18)).unwrap();
    world.alerts = vec![next];
    world.refresh();
    let mut said = Vec::new();
    for hour in 0..26 {
        let now = at(10, 18) + TimeDelta::hours(hour);
        cold(&mut world, now, 0.3, -5.0, 34 - hour);
        said.extend(world.round(now).notifications.iter().map(|t| (hour, t.act.clone())));
    }
    assert_eq!(said.len(), 1, "{said:?}");
    assert_eq!(said[0].0, 21, "an hour after 14:00 of the next day");
    assert!(
        matches!(&said[0].1, Act::Update { worse } if worse == &[Worse::StillOpen { planned: Some(planned) }])
    );
}

#[test]
fn a_low_that_jitters_around_the_limit_for_ten_days_is_one_raise_and_one_close_at_most() {
    // 0.9 K to either side, just inside the deadband. Several limits in terms of the air, 100 seeds each.
    for limit_c in [0.0, -2.0, -4.0] {
        for seed in 1..=100_u64 {
            let mut world = World::boat();
            let mut random = seed;
            for hour in (0..240).step_by(6) {
                // A linear congruential step (Knuth, MMIX constants).
                random = random
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                let share =
                    f64::from(u32::try_from(random >> 33).unwrap()) / f64::from(1_u32 << 31);
                let low = limit_c + (share * 2.0 - 1.0) * 0.9;
                // A smooth chance with its on-threshold at the limit.
                let chance = 1.0 / (1.0 + ((low - limit_c) * 2.0 + 2.197).exp());
                let now = at(10, 0) + TimeDelta::hours(hour);
                cold(&mut world, now, chance, low, 60);
                if let rimeward::domain::alert::Target::Boat { rows, .. } =
                    &mut world.situation.target
                {
                    rows[0].limit_at_c = Some(limit_c);
                    rows[0].latest_start = Some(at(30, 0));
                    rows[0].first_danger = Some(at(30, 6));
                }
                world.round(now);
            }
            let count = |wanted: &str| {
                world
                    .notifications
                    .iter()
                    .filter(|notification| notification.recipient.as_str() == "P02")
                    .filter(|notification| match notification.act {
                        Act::Raise { .. } => wanted == "raise",
                        Act::Update { .. } => wanted == "update",
                        Act::Close { .. } => wanted == "close",
                    })
                    .count()
            };
            assert!(count("raise") <= 1, "seed {seed}, limit {limit_c}");
            assert!(count("close") <= 1, "seed {seed}, limit {limit_c}");
            assert!(count("update") <= 1, "seed {seed}, limit {limit_c}");
        }
    }
}

#[test]
fn blind_keeps_everything_as_it_is_and_clears_nothing() {
    let mut world = World::boat();
    cold(&mut world, at(10, 12), 0.3, -5.0, 20);
    world.round(at(10, 12));
    world.situation.forecast = ForecastState::Blind;
    world.set_rows(Vec::new());
    world.record("block_raw", Holds::Drained, at(10, 16));
    for hour in (0..240).step_by(6) {
        assert!(world.round(at(11, 0) + TimeDelta::hours(hour)).notifications.is_empty());
    }
    assert!(world.alerts[0].is_raised());
    world.situation.forecast = ForecastState::Fresh;
    assert_eq!(acts(&world.round(at(22, 0)), "P02"), ["close"], "done is seen when we see");
}

#[test]
fn the_first_word_is_not_held_back_for_the_daily_limit_when_time_is_short() {
    let mut world = World::boat();
    world.situation.recent =
        [8, 9, 10].map(|hour| ("P02".into(), at(10, hour))).into_iter().collect();
    cold(&mut world, at(10, 6), 0.2, -5.0, 66);
    world.round(at(10, 6));
    cold(&mut world, at(10, 12), 0.2, -5.0, 60);
    assert!(acts(&world.round(at(10, 12)), "P02").is_empty(), "there is time till tomorrow");
    cold(&mut world, at(10, 13), 0.2, -5.0, 20);
    assert_eq!(acts(&world.round(at(10, 13)), "P02"), ["raise"]);
}
