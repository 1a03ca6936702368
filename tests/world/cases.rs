//! Single faults, each with what must come of it.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::America::New_York;

use super::harness::World;
use super::weather::Manner;
use crate::support::at;
use crate::support::smtp::{Act, At};

/// When worklists were queued, in the yard's time.
fn worklists(world: &World) -> Vec<String> {
    let letters = world.house().store.letters(None).unwrap();
    let worklists = letters.into_iter().filter(|letter| letter.row.kind == "worklist");
    let local = |at: DateTime<Utc>| at.with_timezone(&New_York).format("%m-%d %H:%M").to_string();
    worklists.map(|letter| local(letter.row.queued_at)).collect()
}

fn letters_of_kind(world: &World, kind: &str) -> Vec<(String, bool)> {
    let letters = world.house().store.letters(None).unwrap();
    let own = letters.into_iter().filter(|letter| letter.row.kind == kind);
    own.map(|letter| (letter.row.recipient.to_string(), letter.row.closing)).collect()
}

#[test]
fn a_worklist_comes_once_on_each_local_day_over_both_clock_changes_and_the_leap_day() {
    for (start, days) in [
        ("2023-11-04T04:00:00Z", ["11-04", "11-05", "11-06"]),
        ("2024-03-09T05:00:00Z", ["03-09", "03-10", "03-11"]),
        ("2024-02-28T05:00:00Z", ["02-28", "02-29", "03-01"]),
    ] {
        let mut world = World::new(1, at(start));
        world.run(TimeDelta::hours(72));
        assert_eq!(worklists(&world), days.map(|day| format!("{day} 06:30")));
    }
}

#[test]
fn a_sleep_of_days_costs_one_worklist_and_no_false_blindness() {
    let mut world = World::new(2, at("2024-01-10T05:00:00Z"));
    world.run(TimeDelta::hours(32));
    assert_eq!(worklists(&world), ["01-10 06:30", "01-11 06:30"]);
    world.sleep(TimeDelta::days(5));
    world.run(TimeDelta::hours(6));
    assert_eq!(worklists(&world).len(), 3, "missed ticks run once: {:?}", worklists(&world));
    assert_eq!(
        letters_of_kind(&world, "blind"),
        [],
        "the service answered as soon as it was asked"
    );
    world.settle();
}

#[test]
fn a_service_that_goes_away_is_noticed_told_once_and_told_again_when_it_is_back() {
    let mut world = World::new(3, at("2024-01-10T05:00:00Z"));
    world.run(TimeDelta::hours(40));
    world.set_manner(Manner::Status(503));
    world.run(TimeDelta::hours(60));
    let during = letters_of_kind(&world, "blind");
    for reader in ["P54", "P51"] {
        let told = during.iter().filter(|(person, _)| person == reader).count();
        assert_eq!(told, 1, "{reader} in {during:?}");
    }
    assert!(during.iter().all(|(_, closing)| !closing));
    // First that the forecast is getting old, then that we cannot see: each once.
    let letters = world.house().store.letters(None).unwrap();
    let first = |kind: &str| {
        let own =
            letters.iter().filter(|l| l.row.kind == kind && l.row.recipient.as_str() == "P54");
        own.map(|letter| letter.row.queued_at).collect::<Vec<_>>()
    };
    let (aging, blind) = (first("aging"), first("blind"));
    assert_eq!((aging.len(), blind.len()), (1, 1), "{aging:?} {blind:?}");
    assert!(aging[0] < blind[0] && blind[0] - aging[0] < TimeDelta::hours(24));
    assert!(world.checks.slowest_notice <= TimeDelta::minutes(15));
    world.set_manner(Manner::Well);
    world.run(TimeDelta::hours(30));
    let after = letters_of_kind(&world, "blind");
    for reader in ["P54", "P51"] {
        let closings =
            after.iter().filter(|(person, closing)| person == reader && *closing).count();
        assert_eq!(closings, 1, "{reader} in {after:?}");
    }
    world.settle();
}

#[test]
fn a_relay_that_is_away_for_two_days_loses_nothing_and_piles_nothing_up() {
    let mut world = World::new(4, at("2024-01-10T05:00:00Z"));
    world.run(TimeDelta::hours(20));
    world.relay.always(Some((At::Greeting, Act::Drop)));
    world.run(TimeDelta::hours(48));
    let before = world.relay.received().len();
    world.relay.always(None);
    world.run(TimeDelta::hours(2));
    let received = world.relay.received();
    let lists = received
        .iter()
        .skip(before)
        .filter(|message| String::from_utf8_lossy(&message.bytes).contains("Subject: Worklist"));
    assert!(lists.count() <= 1, "yesterday's worklist is of no use");
    world.settle();
}

#[test]
fn a_clock_that_jumps_ahead_for_hours_and_back_puts_nothing_off_for_days() {
    let mut world = World::new(5, at("2024-01-10T05:00:00Z"));
    world.run(TimeDelta::hours(20));
    world.relay.always(Some((At::Greeting, Act::Drop)));
    world.set_clock_off(TimeDelta::days(3));
    world.run(TimeDelta::hours(2));
    world.set_clock_off(TimeDelta::zero());
    world.relay.always(None);
    world.run(TimeDelta::hours(36));
    let waiting = world.house().store.waiting(world.now).unwrap();
    assert!(
        waiting.iter().all(|letter| world.now - letter.queued_at < TimeDelta::hours(12)),
        "{waiting:?}"
    );
    let lists = worklists(&world);
    assert!(lists.contains(&"01-11 06:30".to_owned()), "{lists:?}");
    assert!(
        lists.contains(&"01-12 06:30".to_owned()) || world.now < at("2024-01-12T12:00:00Z"),
        "{lists:?}"
    );
}

#[test]
fn what_a_station_measured_is_kept_hour_by_hour_and_stands_on_the_worklist() {
    let start = at("2024-01-10T05:00:00Z");
    let mut world = World::new(5, start);
    world.run(TimeDelta::hours(34));
    let store = &world.house().store;
    let readings = store.observations(&"UPPER".into(), (start, world.now), world.now).unwrap();
    assert!((28..=35).contains(&readings.len()), "{} readings in 34 hours", readings.len());
    assert!(readings.iter().all(|reading| reading.station == "QWLD" && reading.distance_km < 30.0));
    // Nothing is known before it was had.
    assert!(
        store
            .observations(&"UPPER".into(), (start, world.now), start - TimeDelta::seconds(1))
            .unwrap()
            .is_empty()
    );
    let letters = store.letters(None).unwrap();
    let worklist = letters.iter().rfind(|letter| letter.row.kind == "worklist").unwrap();
    let text =
        String::from_utf8_lossy(&worklist.row.bytes).replace("=\r\n", "").replace("\r\n", " ");
    assert!(text.contains("measured") && text.contains("QWLD"), "{text}");
}

#[test]
fn nothing_is_judged_or_written_while_a_wrong_clock_is_being_set() {
    // A small computer that starts with the time at which it was switched off, three days ago.
    let mut world = World::new(9, at("2024-01-10T15:00:00Z"));
    world.house().clock.start();
    world.set_clock_off(TimeDelta::days(-3));
    world.house().clock.note(&[("nws", TimeDelta::days(3))], world.clock());
    world.run(TimeDelta::minutes(8));
    let statuses = world.house().store.statuses().unwrap();
    let judge = statuses.iter().find(|status| status.name == "judge").unwrap();
    assert!(!judge.ok && judge.text.contains("3 days slow"), "{judge:?}");
    assert!(judge.text.contains("timedatectl"), "{judge:?}");
    assert!(world.house().store.letters(None).unwrap().is_empty(), "a letter under a wrong clock");

    world.set_clock_off(TimeDelta::zero());
    world.house().clock.note(&[("nws", TimeDelta::zero())], world.clock());
    world.run(TimeDelta::hours(22));
    assert_eq!(worklists(&world), ["01-11 06:30"]);
    assert_eq!(letters_of_kind(&world, "blind"), []);
    assert!(
        !letters_of_kind(&world, "opening").is_empty(),
        "the season is opened under the right clock"
    );
}

#[test]
fn a_clock_that_nobody_sets_ends_in_a_word_about_blindness_and_none_about_the_date() {
    let mut world = World::new(10, at("2024-01-10T15:00:00Z"));
    world.house().clock.start();
    world.set_clock_off(TimeDelta::days(-3));
    world.house().clock.note(&[("nws", TimeDelta::days(3))], world.clock());
    world.run(TimeDelta::hours(3));
    assert_eq!(letters_of_kind(&world, "opening"), [], "hangs on the date alone");
    assert!(!letters_of_kind(&world, "blind").is_empty(), "silence would be worse");
}
