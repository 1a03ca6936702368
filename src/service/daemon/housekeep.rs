//! The loop that looks after the store: the nightly full check, forecasts that nobody needs any more, and letters that a
//! wrong clock has put off.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Done, Task};
use crate::service::house::{House, ServiceError};
use crate::settings::schedule::Schedule;
use crate::store::Store;

/// When the store is checked in full, in the yard's time: when nobody reads or writes much.
const FULL_CHECK: &str = "40 3 * * *";
/// Name under which the store keeps when that last was.
const FULL_CHECK_RUN: &str = "full-check";
/// Forecasts that are removed in one transaction, and transactions of a night.
const BITE: u32 = 200;
const BITES_A_NIGHT: u32 = 500;
/// How often it looks.
const LOOK_EVERY: TimeDelta = TimeDelta::hours(1);
/// A run further ahead than this was noted under a wrong clock.
const CLOCK_APART: TimeDelta = TimeDelta::hours(2);

/// See the module.
#[derive(Debug, Default)]
pub struct HousekeepLoop {
    looked_at: Option<DateTime<Utc>>,
}

impl HousekeepLoop {
    pub(super) async fn activate(
        &mut self,
        house: &House,
        now: DateTime<Utc>,
    ) -> Result<Done, ServiceError> {
        self.looked_at = Some(now);
        let mut done = Done::quiet("nothing to do");
        let mended = house.store.mend_after_clock_step(now)?;
        if mended > 0 {
            done.text = format!("{mended} letters were put off by a wrong clock: due now");
            done.news = true;
            done.poke = vec![Task::Deliver];
        }
        if check_due(house, now)?.is_some_and(|due| due <= now) {
            // Noted before it is done: a store that makes the check stop the program would be checked at every start.
            house.store.put_run(FULL_CHECK_RUN, now)?;
            check(house).await?;
            done.text = "the store was checked in full: no damage".to_owned();
            let gone = thin(house, now)?;
            if gone > 0 {
                done.text += &format!("; {gone} old forecasts were removed");
            }
            done.news = true;
        }
        Ok(done)
    }

    pub(super) fn next_due(
        &self,
        house: &House,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, ServiceError> {
        let Some(last) = self.looked_at.filter(|at| *at <= now) else { return Ok(now) };
        let next = last + LOOK_EVERY;
        Ok(check_due(house, now)?.map_or(next, |due| due.min(next)))
    }
}

fn check_due(house: &House, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, ServiceError> {
    let schedule = Schedule::parse(FULL_CHECK).map_err(ServiceError::Told)?;
    let zone = house.settings.yard.time_zone;
    match house.store.last_run(FULL_CHECK_RUN)?.filter(|last| *last <= now + CLOCK_APART) {
        Some(last) => Ok(schedule.next_after(last, zone)),
        None => {
            // The first night counts from the first look.
            house.store.put_run(FULL_CHECK_RUN, now)?;
            Ok(schedule.next_after(now, zone))
        }
    }
}

/// Removes what is older than the settings keep, in small bites so that no writer waits long.
fn thin(house: &House, now: DateTime<Utc>) -> Result<usize, ServiceError> {
    let before = now - TimeDelta::days(i64::from(house.settings.store.keep_forecasts_days));
    let mut gone = 0;
    for _ in 0..BITES_A_NIGHT {
        let bite = house.store.thin_forecasts(before, BITE)?;
        gone += bite;
        if bite == 0 {
            break;
        }
    }
    Ok(gone)
}

/// Checks the file on a connection and a thread of its own; a store in memory on the spot.
async fn check(house: &House) -> Result<(), ServiceError> {
    let path = house.settings.store.path.clone();
    if !path.exists() {
        return Ok(house.store.full_check()?);
    }
    let checked = tokio::task::spawn_blocking(move || Store::full_check_apart(&path)).await;
    match checked {
        Ok(outcome) => Ok(outcome?),
        Err(_) => Err(ServiceError::Told("checking the store came to a sudden end".into())),
    }
}
