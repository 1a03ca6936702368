//! What goes wrong, and when, drawn from a seed.

use chrono::{DateTime, TimeDelta, Utc};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use super::weather::Manner;
use crate::support::smtp::{Act, At};

#[derive(Debug, Clone, Copy)]
pub enum Fault {
    Weather(Manner),
    Relay(Option<(At, Act)>),
    /// The relay takes the next message and hangs up.
    LostReply,
    Crash,
    Sleep(TimeDelta),
    ClockOff(TimeDelta),
}

/// Faults in the order of time.
#[derive(Debug)]
pub struct Faults(Vec<(DateTime<Utc>, Fault)>);

impl Faults {
    pub fn none() -> Self {
        Self(Vec::new())
    }

    pub fn next_at(&self) -> Option<DateTime<Utc>> {
        self.0.last().map(|(at, _)| *at)
    }

    pub fn take(&mut self) -> Option<Fault> {
        self.0.pop().map(|(_, fault)| fault)
    }

    /// About one fault every other day between `start` and `end`; each that lasts has its end.
    pub fn draw(seed: u64, start: DateTime<Utc>, end: DateTime<Utc>) -> Self {
        let mut dice = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut below = |most: u64| i64::try_from(dice.next_u64() % most).unwrap();
        let mut all = Vec::new();
        let mut at = start + TimeDelta::hours(below(30));
        while at < end {
            let hours = TimeDelta::minutes(20 + below(47 * 60));
            match below(12) {
                0 => all.extend(spell(at, hours, Fault::Weather(Manner::Status(500)))),
                1 => all.extend(spell(at, hours, Fault::Weather(Manner::Status(503)))),
                2 => all.extend(spell(at, hours, Fault::Weather(Manner::Truncated))),
                3 => all.extend(spell(at, hours, Fault::Weather(Manner::Stuck(at)))),
                4 => all.extend(spell(at, hours, Fault::Weather(Manner::Page))),
                5 => all.extend(spell(at, hours, Fault::Weather(Manner::TooMany))),
                6 => {
                    let manner = if below(2) == 0 { Manner::Nulls } else { Manner::Status(403) };
                    all.extend(spell(at, hours, Fault::Weather(manner)));
                }
                7 => {
                    let manner = match below(4) {
                        0 => (At::Greeting, Act::Drop),
                        1 => (At::Rcpt, Act::Reply("451 4.3.0 later")),
                        2 => (At::Dot, Act::Reply("452 4.3.1 disk full")),
                        _ => (At::Greeting, Act::Reply("421 4.3.2 closing")),
                    };
                    all.push((at, Fault::Relay(Some(manner))));
                    all.push((at + hours, Fault::Relay(None)));
                }
                8 => all.push((at, Fault::LostReply)),
                9 => all.push((at, Fault::Sleep(hours))),
                10 => {
                    let off = TimeDelta::minutes(below(16 * 60) - 8 * 60);
                    all.push((at, Fault::ClockOff(off)));
                    all.push((at + hours, Fault::ClockOff(TimeDelta::zero())));
                }
                _ => {}
            }
            for _ in 0..=below(3) {
                all.push((at + TimeDelta::minutes(below(2000)), Fault::Crash));
            }
            at += TimeDelta::hours(12 + below(60));
        }
        all.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
        Self(all)
    }
}

fn spell(at: DateTime<Utc>, time: TimeDelta, fault: Fault) -> [(DateTime<Utc>, Fault); 2] {
    [(at, fault), (at + time, Fault::Weather(Manner::Well))]
}
