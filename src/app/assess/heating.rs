//! Whether a heated place is heated: by what is entered for it, and by what its own thermometer showed.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::app::assess::seen::AsOf;
use crate::app::error::ServiceError;
use crate::app::ports::NightStore;
use crate::domain::alert::heat::Trouble;
use crate::domain::boat::{HeatTurn, LayupEvent, heat_of_place};
use crate::domain::catalogue::Catalogue;
use crate::domain::local_time;
use crate::domain::risk::ambient::Heat;
use crate::domain::units::Celsius;
use crate::domain::weather::learned::ReadNight;
use crate::domain::yard::{Site, SiteKind};

/// The heat of a place, and what is wrong with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Heating {
    /// Going on and off, a low reading counted as going off.
    pub heat: Heat,
    /// What is wrong, if it is a heated place and anybody knows of something.
    pub trouble: Option<Trouble>,
}

/// So far below its setpoint a heated place reads low, K ...
const LOW_BY_K: f64 = 4.0;
/// ... and in any case below this, C: parts near the door are colder than the thermometer.
const LOW_C: f64 = 1.0;
/// A place that has read low in one of the last so many nights reads low until it is warmer by this, K.
const LATELY: usize = 3;
const DEADBAND_K: f64 = 1.0;
/// A place is read day by day where so many of the last days were read ...
const READ_OFTEN: usize = 4;
/// ... of so many before the newest reading.
const OF_DAYS: i64 = 7;
/// It is read no more after so many days without a reading: one may be missed.
const SILENT_AFTER_DAYS: i64 = 2;

/// What is known of the heat of `site` at the instant; `said` are the entries for whole places.
///
/// # Errors
/// The store's.
pub(crate) fn heating(
    (store, catalogue): (&dyn NightStore, &Catalogue),
    site: &Site,
    said: &[&LayupEvent],
    instant: AsOf,
) -> Result<Heating, ServiceError> {
    let (at, known_at) = (instant.at, instant.known_at);
    let mut turns = heat_of_place(&site.id, said, at, known_at, catalogue);
    if site.kind != SiteKind::IndoorHeated {
        return Ok(Heating { heat: Heat::switched(turns), trouble: None });
    }
    let today = at.with_timezone(&site.time_zone).date_naive();
    let mut nights = store.nights(&site.id, known_at)?;
    nights.retain(|night| night.morning <= today);
    let on_since = turns.last().filter(|turn| turn.on).map(|turn| turn.at);
    let off_since = turns.last().filter(|turn| !turn.on).map(|turn| turn.at);
    let low = nights.last().filter(|_| reads_low(&nights, site.heat_setpoint));
    // What was entered after the reading knows better.
    let low = low.map(|night| (night, midnight(night.morning, site)));
    let never_entered = turns.is_empty();
    let low = low.filter(|(_, since)| never_entered || on_since.is_some_and(|on| on < *since));
    let silent = silent_since(&nights, today).filter(|_| never_entered || on_since.is_some());
    let trouble = match (off_since, low, silent) {
        (Some(since), _, _) => Some(Trouble::Off { since }),
        (None, Some((night, since)), _) => {
            turns.push(HeatTurn { at: since, on: false });
            Some(Trouble::Low { read_c: night.low_c, morning: night.morning })
        }
        (None, None, Some(last)) => Some(Trouble::Silent { last }),
        (None, None, None) => None,
    };
    Ok(Heating { heat: Heat::switched(turns), trouble })
}

fn is_low(read_c: f64, setpoint: Option<Celsius>) -> bool {
    let wanted = setpoint.map_or(LOW_C, |setpoint| setpoint.value() - LOW_BY_K);
    read_c < wanted.max(LOW_C)
}

/// Does it read low? Once it did, a kelvin more is needed before it no longer does: readings jitter.
fn reads_low(nights: &[ReadNight], setpoint: Option<Celsius>) -> bool {
    let Some((last, before)) = nights.split_last() else { return false };
    let lately = before.iter().rev().take(LATELY);
    let was_low = lately.into_iter().any(|night| is_low(night.low_c, setpoint));
    let band = if was_low { DEADBAND_K } else { 0.0 };
    is_low(last.low_c - band, setpoint)
}

/// When the night before a morning is taken to have begun to be cold: its middle.
fn midnight(morning: NaiveDate, site: &Site) -> DateTime<Utc> {
    local_time::day_start(site.time_zone, morning)
}

/// The last morning of a place that was read day by day and is read no more.
fn silent_since(nights: &[ReadNight], today: NaiveDate) -> Option<NaiveDate> {
    let last = nights.last()?.morning;
    let from = last - TimeDelta::days(OF_DAYS);
    let lately = nights.iter().filter(|night| night.morning > from).count();
    ((today - last).num_days() > SILENT_AFTER_DAYS && lately >= READ_OFTEN).then_some(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn night(morning: &str, low_c: f64) -> ReadNight {
        ReadNight { site: "SHED".into(), morning: morning.parse().unwrap(), low_c, high_c: None }
    }

    #[test]
    fn a_setpoint_says_what_is_low() {
        let set = |celsius| Some(Celsius::clamped(celsius));
        assert!(is_low(2.9, set(7.0)) && !is_low(3.0, set(7.0)));
        assert!(is_low(0.9, set(4.0)) && !is_low(1.0, set(4.0)) && is_low(0.0, None));
    }

    #[test]
    fn a_reading_that_jitters_round_the_limit_is_one_trouble() {
        let low = |reads: &[f64]| {
            let nights: Vec<ReadNight> = reads.iter().map(|c| night("2023-01-05", *c)).collect();
            reads_low(&nights, Some(Celsius::clamped(7.0)))
        };
        assert!(low(&[5.0, 2.9]) && low(&[2.9, 3.1]) && low(&[2.9, 3.9]) && !low(&[2.9, 4.0]));
        assert!(!low(&[3.1, 3.1]) && !low(&[2.9, 5.0, 5.0, 5.0, 3.5]) && !low(&[]));
    }

    #[test]
    fn only_what_was_read_day_by_day_falls_silent() {
        let days: Vec<ReadNight> =
            (1..=6).map(|day| night(&format!("2023-01-0{day}"), 6.0)).collect();
        let today = |text: &str| text.parse().unwrap();
        assert_eq!(silent_since(&days, today("2023-01-08")), None, "one may be missed");
        assert_eq!(silent_since(&days, today("2023-01-09")), Some(today("2023-01-06")));
        assert_eq!(silent_since(&days[4..], today("2023-01-20")), None, "never day by day");
        assert_eq!(silent_since(&[], today("2023-01-20")), None);
    }
}
