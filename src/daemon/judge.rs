//! The loop that judges and decides: when something has changed, when a forecast passes a limit of age, when the worklist
//! is due, and at least every three hours.

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::alerts::unreachable::{Undeliverable, next_overdue, turn_to_next_contact};
use crate::app::assess::outlook::services;
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::Composer;
use crate::app::ports::AppStore;
use crate::app::round::{Memory, judge_pass};
use crate::app::settings::ForecastSettings;
use crate::daemon::task::{Done, Task};

/// After a start, or a sleep of the machine, the weather services are asked first, and judging waits for that: else it
/// would call every place blind that only had not been asked yet. It waits no longer than this for the next place ...
const WAIT_FOR_FETCH: TimeDelta = TimeDelta::minutes(4);
/// ... and than this for all of them: within a quarter of an hour blindness is noticed.
const WAIT_FOR_ALL: TimeDelta = TimeDelta::minutes(12);
/// How soon it looks again whether the services have been asked.
const WAIT_STEP: TimeDelta = TimeDelta::seconds(10);

/// How soon it looks again whether the clock has been set.
const CLOCK_STEP: TimeDelta = TimeDelta::minutes(1);

/// See the module.
pub struct JudgeLoop {
    composer: Composer,
    memory: Memory,
    looked: Option<Look>,
    waits: Option<Wait>,
}

/// Waiting for the weather services.
#[derive(Debug, Clone, Copy)]
struct Wait {
    since: DateTime<Utc>,
    /// How many places had still to be asked for when that number last fell, and when.
    places: usize,
    fell_at: DateTime<Utc>,
}

impl Wait {
    fn ends(self) -> DateTime<Utc> {
        (self.fell_at + WAIT_FOR_FETCH).min(self.since + WAIT_FOR_ALL)
    }
}

/// The last look.
#[derive(Debug, Clone, Copy)]
struct Look {
    at: DateTime<Utc>,
    /// What other programs had written by then.
    writes: i64,
}

impl JudgeLoop {
    pub(crate) fn new(composer: Composer) -> Self {
        Self { composer, memory: Memory::default(), looked: None, waits: None }
    }

    pub(crate) fn activate(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<Done, ServiceError> {
        if self.waits_for_fetch(house, now)? {
            return Ok(Done::quiet("waits until the weather services have been asked"));
        }
        if let Some((until, why)) = house.clock.holds(now) {
            let until = until.with_timezone(&house.settings.yard.time_zone).format("%H:%M");
            let text = format!("{why}; nothing is judged until then, or until {until}");
            return Ok(Done { ok: false, news: true, text, poke: Vec::new() });
        }
        let writes = house.store.others_wrote()?;
        let judged = judge_pass(house, &self.composer, &mut self.memory, now)?;
        let unreached = turn_to_next_contact(house, &self.composer, now)?;
        if unreached.tell_anew {
            // The next look takes in every place again.
            self.memory = Memory::default();
        }
        self.looked = Some(Look { at: now, writes });
        let Some(judged) = judged else {
            let mut done = Done::quiet("nothing has changed");
            note_unreached(&mut done, &unreached);
            return Ok(done);
        };
        let blind = judged.assessment.is_blind();
        let mut text = format!(
            "{} places and {} boats judged, {} letters queued",
            judged.assessment.places.len(),
            judged.assessment.boats.len(),
            judged.queued
        );
        if blind {
            text += "; a place is without a usable forecast";
        }
        for change in &judged.changes {
            text += &format!("; {change}");
        }
        let mut done = Done {
            // Blindness is the weather service's trouble: the loop itself did its work.
            ok: true,
            text,
            news: judged.queued > 0 || !judged.changes.is_empty(),
            poke: if judged.queued > 0 { vec![Task::Deliver] } else { Vec::new() },
        };
        note_unreached(&mut done, &unreached);
        Ok(done)
    }

    pub(crate) fn next_due(
        &self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, ServiceError> {
        if let Some(wait) = self.waits.filter(|wait| wait.fell_at <= now) {
            let waits = places_to_ask((&*house.store, &house.settings.forecast), now)? > 0;
            return Ok(if waits { (now + WAIT_STEP).min(wait.ends()) } else { now });
        }
        if let Some((until, _)) = house.clock.holds(now) {
            return Ok((now + CLOCK_STEP).min(until));
        }
        let Some(look) = self.looked.filter(|look| look.at <= now) else { return Ok(now) };
        if house.store.others_wrote()? != look.writes {
            return Ok(now);
        }
        let next = self.memory.next_due(house, look.at, now)?;
        Ok(next_overdue(&*house.store, look.at)?.map_or(next, |overdue| overdue.min(next)))
    }

    fn waits_for_fetch(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<bool, ServiceError> {
        let places = places_to_ask((&*house.store, &house.settings.forecast), now)?;
        let mut wait = self.waits.filter(|wait| wait.fell_at <= now).unwrap_or(Wait {
            since: now,
            places,
            fell_at: now,
        });
        if places < wait.places {
            (wait.places, wait.fell_at) = (places, now);
        }
        let waits = places > 0 && now < wait.ends();
        self.waits = waits.then_some(wait);
        Ok(waits)
    }
}

/// Places that have not been asked for, and should have been long ago; those of each service count.
fn places_to_ask(
    (store, settings): (&dyn AppStore, &ForecastSettings),
    now: DateTime<Utc>,
) -> Result<usize, ServiceError> {
    let mut places = 0;
    for service in services(settings) {
        places += crate::daemon::fetch::overdue(store, service.name(), now)?;
    }
    Ok(places)
}

fn note_unreached(done: &mut Done, unreached: &Undeliverable) {
    if unreached.queued > 0 {
        done.text += &format!("; {} letters to next contacts", unreached.queued);
        done.news = true;
        done.poke.push(Task::Deliver);
    }
    if unreached.tell_anew {
        done.poke.push(Task::Judge);
    }
    for person in &unreached.nobody_left {
        done.ok = false;
        done.text += &format!("; nobody is left to turn to for {person}");
    }
}
