//! Memory and file handles stay where they are through a winter: six weeks of the daemon's loops over a store on disk, in a
//! process of its own, since the figures of a process are those of all its tests.

use std::process::Command;

use chrono::TimeDelta;
use rimeward::adapters::sqlite::{Options, Store};

use super::harness::World;
use crate::support::{TempDir, at};

const DAYS: i64 = 42;
/// Caches have filled by then.
const SETTLED_DAYS: i64 = 10;
/// What the test's own relay keeps of every letter, and the allocator's slack.
const GROWTH_KIB_MOST: u64 = 12 * 1024;

fn resident_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

fn open_files() -> usize {
    std::fs::read_dir("/proc/self/fd").unwrap().count()
}

#[test]
#[ignore = "run by the test below, in a process of its own"]
fn weeks_of_the_daemon() {
    let folder = TempDir::new("flat");
    let store = Store::open(&folder.path().join("store.sqlite"), Options::default()).unwrap();
    let mut world = World::over(store, 11, at("2022-11-20T12:00:00Z"));
    for day in 1..=DAYS {
        world.run(TimeDelta::days(1));
        println!("day {day} {} {}", resident_kib(), open_files());
    }
    assert!(world.activations > 1000);
}

#[test]
fn memory_and_file_handles_are_flat_through_six_weeks() {
    let own = "world::flat::weeks_of_the_daemon";
    let output = Command::new(std::env::current_exe().unwrap())
        .args([own, "--exact", "--ignored", "--nocapture", "--test-threads=1"])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{text}{}", String::from_utf8_lossy(&output.stderr));
    let figures: Vec<(u64, usize)> = text
        .lines()
        .filter_map(|line| line.split_once("day ")?.1.split_once(' '))
        .filter_map(|(_, rest)| rest.split_once(' '))
        .filter_map(|(kib, files)| Some((kib.parse().ok()?, files.trim().parse().ok()?)))
        .collect();
    assert_eq!(figures.len(), usize::try_from(DAYS).unwrap(), "{text}");
    let settled = figures[usize::try_from(SETTLED_DAYS).unwrap() - 1];
    let last = figures[figures.len() - 1];
    println!("day {SETTLED_DAYS}: {settled:?} KiB and files; day {DAYS}: {last:?}");
    assert!(last.0 <= settled.0 + GROWTH_KIB_MOST, "memory grows: {figures:?}");
    assert!(last.1 <= settled.1 + 2, "file handles are left open: {figures:?}");
}
