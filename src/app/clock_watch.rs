//! Is this machine's clock right? A small computer without a battery starts with the time at which it was switched off, and
//! is set a minute or a day later. What the weather services state in `Date` is a second opinion.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::ports::{WeatherSource, WeatherSources};

/// Clocks further apart than this are not both right.
const APART: TimeDelta = TimeDelta::minutes(15);
/// How long judging waits for the clock to be set: time servers are found within minutes of the network. No longer, since
/// it may be the service that is wrong, and silence is the worse fault.
const HOLD: TimeDelta = TimeDelta::minutes(10);
/// A doubt that nothing has confirmed for so long is dropped.
const GOOD_FOR: TimeDelta = TimeDelta::hours(4);

/// What speaks against the machine's clock. All times are by that clock.
#[derive(Debug, Clone, Copy)]
struct Doubt {
    since: DateTime<Utc>,
    seen: DateTime<Utc>,
    /// How far the services' clocks are ahead.
    apart: TimeDelta,
}

/// What the weather services' clocks say of ours. It watches only once it is told to: a round at a stated time, or a
/// demonstration, has a clock of its own.
#[derive(Debug, Default)]
pub struct ClockWatch {
    on: AtomicBool,
    doubt: Mutex<Option<Doubt>>,
    /// What each service last showed: how far its clock was ahead, and when by ours.
    shown: Mutex<BTreeMap<&'static str, (TimeDelta, DateTime<Utc>)>>,
}

impl ClockWatch {
    /// From now on the times that are handed in are this machine's present.
    pub fn start(&self) {
        self.on.store(true, Ordering::Relaxed);
    }

    /// Takes in how far the clocks of services were ahead of ours in a pass that began at `now`. Only what all of them agree
    /// on counts, with what the others last showed: a service whose clock is wrong is often the one that is asked again and
    /// again. A copy out of a cache looks late, never early.
    pub fn note(&self, ahead: &[(&'static str, TimeDelta)], now: DateTime<Utc>) {
        if !self.on.load(Ordering::Relaxed) || ahead.is_empty() {
            return;
        }
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.retain(|_, (_, at)| *at <= now && now - *at < GOOD_FOR);
        shown.extend(ahead.iter().map(|(service, apart)| (*service, (*apart, now))));
        let all: Vec<TimeDelta> = shown.values().map(|(apart, _)| *apart).collect();
        let mut doubt = self.doubt.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(apart) = agreed(&all) else {
            *doubt = None;
            return;
        };
        let since = doubt.filter(|doubt| doubt.since <= now).map_or(now, |doubt| doubt.since);
        *doubt = Some(Doubt { since, seen: now, apart });
        tracing::warn!("{}", words(apart));
    }

    /// The same from clients that have just been used.
    pub(crate) fn note_clients(&self, clients: &dyn WeatherSources, now: DateTime<Utc>) {
        self.note(&ahead_of(clients), now);
    }

    /// Until when judging waits for the clock to be set, and why; `None` where there is nothing to wait for.
    #[must_use]
    pub fn holds(&self, now: DateTime<Utc>) -> Option<(DateTime<Utc>, String)> {
        let doubt = (*self.doubt.lock().unwrap_or_else(PoisonError::into_inner))?;
        let until = doubt.since + HOLD;
        // A step of the clock in either direction ends it: somebody has set it.
        (doubt.since <= now && now < until).then(|| (until, words(doubt.apart)))
    }

    /// What is wrong with the clock, if anything is. Then nothing goes out that hangs on the date alone.
    #[must_use]
    pub fn doubt(&self, now: DateTime<Utc>) -> Option<String> {
        let doubt = (*self.doubt.lock().unwrap_or_else(PoisonError::into_inner))?;
        (doubt.seen <= now && now - doubt.seen < GOOD_FOR).then(|| words(doubt.apart))
    }
}

/// How far the clocks of the services were ahead of ours in the answers since this was last asked. A stand-in on this
/// machine says nothing: it has the same clock.
#[must_use]
pub fn ahead_of(clients: &dyn WeatherSources) -> Vec<(&'static str, TimeDelta)> {
    let apart = |of: &dyn WeatherSource| Some((of.service().name(), of.take_clock_ahead()?));
    clients.sources().into_iter().filter_map(apart).collect()
}

/// The least of what all agree on, if that is more than clocks may differ by.
#[must_use]
pub fn agreed(ahead: &[TimeDelta]) -> Option<TimeDelta> {
    let least = ahead.iter().min_by_key(|apart| apart.abs())?;
    let same_side =
        |apart: &TimeDelta| (*apart > TimeDelta::zero()) == (*least > TimeDelta::zero());
    (least.abs() > APART && ahead.iter().all(same_side)).then_some(*least)
}

/// What is wrong and how to mend it, for people. `apart` is how far the services' clocks are ahead.
#[must_use]
pub fn words(apart: TimeDelta) -> String {
    let side = if apart > TimeDelta::zero() { "slow" } else { "fast" };
    let minutes = apart.num_minutes().saturating_abs().min(i64::from(i32::MAX));
    let length = match minutes {
        0..120 => format!("{minutes} minutes"),
        120..2880 => format!("{} hours", (minutes + 30) / 60),
        _ => format!("{} days", (minutes + 720) / 1440),
    };
    format!(
        "this machine's clock is {length} {side} by the weather services' clocks: set it (timedatectl set-ntp true)"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn watch() -> ClockWatch {
        let watch = ClockWatch::default();
        watch.start();
        watch
    }

    #[test]
    fn a_slow_clock_is_waited_for_and_no_longer_than_ten_minutes() {
        let watch = watch();
        watch.note(&[("nws", TimeDelta::days(3))], at("2023-01-13T12:00:00Z"));
        let (until, why) = watch.holds(at("2023-01-13T12:09:00Z")).unwrap();
        assert_eq!(until, at("2023-01-13T12:10:00Z"));
        assert!(why.contains("3 days slow"), "{why}");
        watch.note(&[("nws", TimeDelta::days(3))], at("2023-01-13T12:08:00Z"));
        assert!(
            watch.holds(at("2023-01-13T12:10:00Z")).is_none(),
            "the same doubt was counted anew"
        );
        assert!(watch.doubt(at("2023-01-13T12:10:00Z")).is_some());
    }

    #[test]
    fn a_clock_that_has_been_set_ends_the_wait_at_once() {
        for step in ["2023-01-16T12:01:00Z", "2023-01-10T12:01:00Z"] {
            let watch = watch();
            watch.note(&[("nws", TimeDelta::days(3))], at("2023-01-13T12:00:00Z"));
            assert!(watch.holds(at(step)).is_none(), "{step}");
            watch.note(&[("nws", TimeDelta::seconds(1))], at(step));
            assert!(watch.doubt(at(step)).is_none(), "{step}");
        }
    }

    #[test]
    fn one_service_that_is_wrong_raises_no_doubt() {
        let hours = TimeDelta::hours;
        for (ahead, doubt) in [
            (vec![hours(5)], Some(hours(5))),
            (vec![hours(5), hours(0)], None),
            (vec![hours(-5), hours(5)], None),
            (vec![hours(-5), hours(-9)], Some(hours(-5))),
            (vec![TimeDelta::minutes(15)], None),
            (vec![], None),
        ] {
            assert_eq!(agreed(&ahead), doubt, "{ahead:?}");
        }
    }

    #[test]
    fn a_service_that_is_down_with_a_wrong_clock_does_not_agree_with_itself() {
        let watch = watch();
        let hour = TimeDelta::hours(5);
        watch.note(&[("nws", TimeDelta::zero()), ("met", hour)], at("2023-01-13T12:00:00Z"));
        watch.note(&[("met", hour)], at("2023-01-13T12:05:00Z"));
        assert!(watch.doubt(at("2023-01-13T12:05:00Z")).is_none());
        // Long after the other one was last heard it is all there is.
        watch.note(&[("met", hour)], at("2023-01-13T18:05:00Z"));
        assert!(watch.doubt(at("2023-01-13T18:05:00Z")).is_some());
    }

    #[test]
    fn a_clock_of_ones_own_is_not_watched() {
        let watch = ClockWatch::default();
        watch.note(&[("nws", TimeDelta::days(300))], at("2023-01-13T12:00:00Z"));
        assert!(watch.holds(at("2023-01-13T12:00:00Z")).is_none());
        assert!(watch.doubt(at("2023-01-13T12:00:00Z")).is_none());
    }
}
