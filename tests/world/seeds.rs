//! Fixed seeds: each a few weeks of winter with faults, then quiet, then everything has its end.

use chrono::{DateTime, TimeDelta, Utc};

use super::faults::Faults;
use super::harness::World;
use crate::support::at;

/// Starts that hold both clock changes and a leap day.
const STARTS: [&str; 4] = [
    "2023-10-29T12:00:00Z",
    "2024-02-20T12:00:00Z",
    "2024-02-28T00:00:00Z",
    "2022-12-20T06:00:00Z",
];
const DAYS: i64 = 9;

/// Says how to replay a seed that failed.
struct Replay(u64);

impl Drop for Replay {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!(
                "seed {0} failed; replay: RIMEWARD_WORLD_SEED={0} cargo test --test all world::seeds::one -- --nocapture",
                self.0
            );
        }
    }
}

fn winter(seed: u64) -> World {
    let _replay = Replay(seed);
    let start: DateTime<Utc> = at(STARTS[usize::try_from(seed % 4).unwrap()]);
    let end = start + TimeDelta::days(DAYS);
    let mut world = World::new(seed, start);
    world.run_until(end, &mut Faults::draw(seed, start, end));
    world.settle();
    world
}

fn winters(seeds: std::ops::Range<u64>) {
    let mut notice = TimeDelta::zero();
    let (mut activations, mut letters) = (0, 0);
    for seed in seeds.clone() {
        let world = winter(seed);
        notice = notice.max(world.checks.slowest_notice);
        activations += world.activations;
        letters += world.relay.received().len();
        assert!(world.checks.looks > 3, "the checkers looked {} times", world.checks.looks);
    }
    println!(
        "seeds {seeds:?}: {activations} activations, {letters} letters; blindness noticed within {} s",
        notice.num_seconds()
    );
    assert!(letters > 0);
}

#[test]
fn seeds_0_to_7() {
    winters(0..8);
}

#[test]
fn seeds_8_to_15() {
    winters(8..16);
}

#[test]
fn seeds_16_to_23() {
    winters(16..24);
}

#[test]
#[expect(clippy::disallowed_methods, reason = "a seed to replay comes from outside")]
fn one() {
    let Ok(seed) = std::env::var("RIMEWARD_WORLD_SEED") else {
        println!("RIMEWARD_WORLD_SEED is not set: no seed to replay");
        return;
    };
    let world = winter(seed.parse().expect("a number"));
    println!("{} activations", world.activations);
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let contents = |seed| {
        let world = winter(seed);
        // Ports differ from run to run.
        let ports = |text: &str| {
            let mut parts = text.split("127.0.0.1:");
            let first = parts.next().unwrap_or_default().to_owned();
            parts.fold(first, |all, part| {
                all + "LOOPBACK" + part.trim_start_matches(|c: char| c.is_ascii_digit())
            })
        };
        // What was refused is kept packed, with the port inside.
        let unpacked = |text: String| -> String {
            text.lines().filter(|line| !line.starts_with("refused:")).collect::<Vec<_>>().join("\n")
        };
        let mails: Vec<Vec<u8>> = world.relay.received().into_iter().map(|m| m.bytes).collect();
        (unpacked(ports(&world.house().store.dump().unwrap())), mails)
    };
    let (first, second) = (contents(3), contents(3));
    assert!(first.0 == second.0, "two dumps differ");
    assert_eq!(first.1, second.1);
}
