//! Any sequence of issues, gaps, records and answers: what must hold holds.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use rimeward::domain::alert::{Act, Alert, Flat};
use rimeward::domain::boat::Holds;
use rimeward::domain::risk::{Consequence, Priority};
use rimeward::domain::weather::ForecastState;
use rimeward::domain::yard::Role;

use super::world::{Decision, World, at, row};

#[derive(Debug, Clone)]
struct Step {
    hours: i64,
    chance: f64,
    low_c: f64,
    slack_h: i64,
    priority: Priority,
    blind: bool,
    frozen: bool,
    drained: bool,
    answers: bool,
    owner_gone: bool,
    warm: bool,
    hand: u8,
}

fn step() -> impl Strategy<Value = Step> {
    let priority = prop_oneof![
        Just(Priority::Notice),
        Just(Priority::Low),
        Just(Priority::Medium),
        Just(Priority::High)
    ];
    (
        (1_i64..14, prop_oneof![Just(0.0), 0.0..1.0_f64], -20.0..6.0_f64, -10_i64..120, priority),
        (
            prop::bool::weighted(0.15),
            prop::bool::weighted(0.1),
            prop::bool::weighted(0.1),
            prop::bool::weighted(0.1),
            prop::bool::weighted(0.05),
            prop::bool::weighted(0.2),
            prop_oneof![8 => Just(0_u8), 1 => Just(1), 1 => Just(2), 1 => Just(3)],
        ),
    )
        .prop_map(|((hours, chance, low_c, slack_h, priority), flags)| Step {
            hours,
            chance,
            low_c,
            slack_h,
            priority,
            blind: flags.0,
            frozen: flags.1,
            drained: flags.2,
            answers: flags.3,
            owner_gone: flags.4,
            warm: flags.5,
            hand: flags.6,
        })
}

type Open = BTreeMap<(String, String), i32>;

/// Plays the steps; returns the world and every rule that was broken.
fn play(steps: &[Step]) -> (World, Vec<String>) {
    let mut world = World::boat();
    let (mut open, mut faults) = (Open::new(), Vec::new());
    let mut now = at(1, 0);
    let everybody = world.situation.people.clone();
    for step in steps {
        now += TimeDelta::hours(step.hours);
        set(&mut world, step, now);
        world.situation.people = everybody.clone();
        if step.owner_gone {
            world.situation.people.remove(0);
        }
        let before: BTreeMap<String, Flat> =
            world.alerts.iter().map(|alert| (alert.id.to_string(), alert.flat())).collect();
        let decision = world.round(now);
        faults.extend(what_was_said(&decision, step, &mut open));
        faults.extend(how_it_stands(&world, step, &before, &open));
        if let Some(next) = world.situation.open.as_ref().and_then(|a| by_hand(a, step.hand, now)) {
            world.alerts.retain(|old| old.id != next.id);
            world.alerts.push(next);
            world.refresh();
        }
        if step.answers
            && let Some(alert) = &world.situation.open
            && let Some((next, _)) = alert.acknowledge("P02".into(), None, now)
        {
            world.alerts.retain(|old| old.id != next.id);
            world.alerts.push(next);
            world.refresh();
        }
    }
    (world, faults)
}

/// Out of service for two days, back, or taken back, by the manager.
fn by_hand(alert: &Alert, hand: u8, now: DateTime<Utc>) -> Option<Alert> {
    let people = super::world::people();
    let manager = people.iter().find(|person| person.role == Role::Manager).unwrap();
    let review = (now + TimeDelta::days(2)).with_timezone(&chrono_tz::UTC);
    match hand {
        1 => alert.take_out(manager, review, "sold", now).ok().map(|(next, _)| next),
        2 => alert.put_back(manager, now).ok().map(|(next, _)| next),
        3 => alert.take_back(manager, "wrong boat").ok(),
        _ => None,
    }
}

fn set(world: &mut World, step: &Step, now: DateTime<Utc>) {
    let start = now + TimeDelta::hours(step.slack_h);
    let mut rows = vec![
        row("block_raw", Consequence::Severe, step.chance),
        row("strainer", Consequence::Major, step.chance * 0.8),
    ];
    for row in &mut rows {
        row.priority = step.priority;
        row.latest_start = Some(start);
        row.slack_s = Some(step.slack_h * 3600);
        row.first_danger = Some(start + TimeDelta::hours(6));
        row.frozen_now = step.frozen;
    }
    if step.drained {
        rows.clear();
    }
    let holds = if step.drained { Holds::Drained } else { Holds::Fresh };
    for circuit in ["block_raw", "strainer"] {
        world.record(circuit, holds, now);
    }
    world.set_rows(rows);
    world.set_low(step.low_c, start);
    world.situation.heated = step.warm;
    world.situation.forecast = if step.blind { ForecastState::Blind } else { ForecastState::Fresh };
}

/// One closing message for each raise, no update without a raise, nothing while blind.
fn what_was_said(decision: &Decision, step: &Step, open: &mut Open) -> Vec<String> {
    let mut faults = Vec::new();
    for notification in &decision.notifications {
        let key = (notification.alert.to_string(), notification.recipient.to_string());
        let count = open.entry(key.clone()).or_default();
        match notification.act {
            Act::Raise { .. } => *count += 1,
            Act::Update { .. } if *count != 1 => faults.push(format!("update, unraised {key:?}")),
            Act::Update { .. } => {}
            Act::Close { .. } => *count -= 1,
        }
        if !(0..=1).contains(count) {
            faults.push(format!("{count} raises open for {key:?}"));
        }
        if step.blind {
            faults.push(format!("spoke while blind: {:?}", notification.act));
        }
    }
    faults
}

/// Nothing closed opens, nothing ends while blind, nothing ends with somebody still waiting.
fn how_it_stands(
    world: &World,
    step: &Step,
    before: &BTreeMap<String, Flat>,
    open: &Open,
) -> Vec<String> {
    let mut faults = Vec::new();
    for alert in &world.alerts {
        let was = before.get(alert.id.as_str());
        if was == Some(&Flat::Closed) && alert.flat() != Flat::Closed {
            faults.push(format!("{} was opened again", alert.id));
        }
        let ended = matches!(alert.flat(), Flat::Closed | Flat::Returned);
        if step.blind && ended && was != Some(&alert.flat()) {
            faults.push(format!("{} ended while blind", alert.id));
        }
        for (person, ledger) in &alert.told {
            let waits = open.get(&(alert.id.to_string(), person.to_string())).copied();
            if ledger.awaits_closing != (waits == Some(1)) {
                faults.push(format!("ledger of {person} disagrees"));
            }
            if ended && ledger.awaits_closing {
                faults.push(format!("{} ended, {person} was not told", alert.id));
            }
        }
    }
    faults
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens_nobody_is_left_waiting_and_nothing_closed_opens(
        steps in prop::collection::vec(step(), 1..60)
    ) {
        let (world, faults) = play(&steps);
        prop_assert!(faults.is_empty(), "{faults:?}");
        let (again, _) = play(&steps);
        prop_assert_eq!(world.notifications, again.notifications);
    }

    #[test]
    fn whoever_was_told_hears_the_end_when_the_cold_goes(
        mut steps in prop::collection::vec(step(), 1..40)
    ) {
        let calm = Step {
            hours: 6, chance: 0.0, low_c: 20.0, slack_h: 100, priority: Priority::Low,
            blind: false, frozen: false, drained: false, answers: false, owner_gone: false,
            warm: false, hand: 0,
        };
        steps.extend(std::iter::repeat_n(calm, 24));
        let (world, faults) = play(&steps);
        prop_assert!(faults.is_empty(), "{faults:?}");
        for alert in &world.alerts {
            prop_assert!(alert.told.values().all(|ledger| !ledger.awaits_closing));
            let settled = matches!(alert.flat(), Flat::Closed | Flat::Normal);
            prop_assert!(settled, "{:?}", alert.flat());
        }
    }
}
