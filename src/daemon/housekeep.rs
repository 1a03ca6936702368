//! The loop that looks after the store: the nightly full check, forecasts that nobody needs any more, and letters that a
//! wrong clock has put off.

use std::path::PathBuf;

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::adapters::sqlite::Store;
use crate::app::context::{AppContext, ServiceError, with_causes};
use crate::app::notify::{Composer, Written, label_of};
use crate::app::ports::RoundCommit;
use crate::app::ports::{RunLog, Upkeep};
use crate::app::settings::schedule::Schedule;
use crate::daemon::task::{Done, Task};
use crate::domain::alert::action::Posting;
use crate::domain::boat::CircuitId;
use crate::domain::message::compose_damage;
use crate::domain::yard::recipients;

/// So long word of damage is worth reading.
const KEPT: TimeDelta = TimeDelta::days(4);
/// When the store is checked in full, in the yard's time: when nobody reads or writes much.
const FULL_CHECK: &str = "40 3 * * *";
/// Name under which the store keeps when that last was.
const FULL_CHECK_RUN: &str = "full-check";
/// The status row of what it found.
pub(crate) const STORE: &str = "store";
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
    pub(crate) async fn activate(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<Done, ServiceError> {
        self.looked_at = Some(now);
        let mut done = Done::quiet("nothing to do");
        // Stands until a check finds none: a status that the next look overwrites would be seen by nobody.
        if let Some(found) = known_damage(&*house.store)? {
            done.ok = false;
            done.text = found;
        }
        let mended = house.store.mend_after_clock_step(now)?;
        if mended > 0 {
            let words = format!("{mended} letters were put off by a wrong clock: due now");
            done.text = if done.ok { words } else { format!("{}; {words}", done.text) };
            done.news = true;
            done.poke = vec![Task::Deliver];
        }
        if check_due((&*house.store, house.settings.yard.time_zone), now)?
            .is_some_and(|due| due <= now)
        {
            // Noted before it is done: a store that makes the check stop the program would be checked at every start.
            house.store.put_run(FULL_CHECK_RUN, now)?;
            if let Err(error) = check((&*house.store, house.settings.store.path.clone())).await {
                tell_damage(house, &with_causes(&error), now)?;
                return Err(error);
            }
            house.store.put_status(STORE, true, now, "no damage")?;
            done.ok = true;
            done.text = "the store was checked in full: no damage".to_owned();
            let gone = thin((&*house.store, house.settings.store.keep_forecasts_days), now)?;
            if gone > 0 {
                done.text += &format!("; {gone} old forecasts were removed");
            }
            done.news = true;
        }
        Ok(done)
    }

    pub(crate) fn next_due(
        &self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, ServiceError> {
        let Some(last) = self.looked_at.filter(|at| *at <= now) else { return Ok(now) };
        let next = last + LOOK_EVERY;
        Ok(check_due((&*house.store, house.settings.yard.time_zone), now)?
            .map_or(next, |due| due.min(next)))
    }
}

/// What the last full check found wrong, with the remedy.
fn known_damage(store: &dyn RunLog) -> Result<Option<String>, ServiceError> {
    let statuses = store.statuses()?;
    let found = statuses.into_iter().find(|status| status.name == STORE && !status.ok);
    Ok(found.map(|status| {
        format!("{}: stop, keep a copy, rimeward restore the newest backup", status.text)
    }))
}

/// Notes the damage and writes to whoever runs the service, once until a check finds none.
fn tell_damage(house: &AppContext, found: &str, now: DateTime<Utc>) -> Result<(), ServiceError> {
    let is_known = known_damage(&*house.store)?.is_some();
    house.store.put_status(STORE, false, now, found)?;
    if is_known {
        return Ok(());
    }
    let composer = Composer::of(&house.settings, &*house.mailer)?;
    let yard = house.yard()?;
    let label = |circuit: &CircuitId| label_of(&house.catalogue, circuit);
    let path = house.settings.store.path.display().to_string();
    let Some(site) = yard.sites.values().next() else { return Ok(()) };
    let mut written = Written::default();
    for person in recipients::of_damage(&yard.people) {
        let context = composer.context((person, site), &label, now);
        let letter = compose_damage(found, &path, &context).map_err(|error| error.to_string());
        let about = format!("damage-{}-{}", person.id, now.timestamp());
        let posting = Posting::named(about, "damage", KEPT, now);
        written.post_at_once((&*house.mailer, &composer), &posting, person, letter);
    }
    let commit = RoundCommit {
        letters: written.letters,
        unsendable: written.unsendable,
        ..RoundCommit::default()
    };
    house.store.commit_round(&commit)?;
    Ok(())
}

fn check_due(
    (store, zone): (&dyn RunLog, Tz),
    now: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, ServiceError> {
    let schedule = Schedule::parse(FULL_CHECK)
        .map_err(|why| ServiceError::Schedule { key: "the full check", why })?;
    match store.last_run(FULL_CHECK_RUN)?.filter(|last| *last <= now + CLOCK_APART) {
        Some(last) => Ok(schedule.next_after(last, zone)),
        None => {
            // The first night counts from the first look.
            store.put_run(FULL_CHECK_RUN, now)?;
            Ok(schedule.next_after(now, zone))
        }
    }
}

/// Removes what is older than the settings keep, in small bites so that no writer waits long.
fn thin((store, keep_days): (&dyn Upkeep, u16), now: DateTime<Utc>) -> Result<usize, ServiceError> {
    let before = now - TimeDelta::days(i64::from(keep_days));
    let mut gone = 0;
    for _ in 0..BITES_A_NIGHT {
        let bite = store.thin_forecasts(before, BITE)?;
        gone += bite;
        if bite == 0 {
            break;
        }
    }
    Ok(gone)
}

/// Checks the file on a connection and a thread of its own; a store in memory on the spot.
async fn check((store, path): (&dyn Upkeep, PathBuf)) -> Result<(), ServiceError> {
    if !path.exists() {
        return Ok(store.full_check()?);
    }
    let checked = tokio::task::spawn_blocking(move || Store::full_check_apart(&path)).await;
    match checked {
        Ok(outcome) => Ok(outcome?),
        Err(_) => Err(ServiceError::ThreadDied("checking the store")),
    }
}
