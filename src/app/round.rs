//! One pass: fetch, judge, decide, deliver. A restart and an ordinary round are the same path; a round that finds
//! nothing new changes nothing.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::alerts::decide_round;
use crate::app::alerts::rows::{record_of, transition_rows};
use crate::app::alerts::unreachable::turn_to_next_contact;
use crate::app::assess::blend_separation::newly_slush;
use crate::app::assess::exposures::spells_now;
use crate::app::assess::outlook::Forecasts;
use crate::app::assess::{AsOf, Assessment, assess};
use crate::app::context::{AppContext, ServiceError};
use crate::app::fetch::{Fetched, fetch_all};
use crate::app::notify::deliver::notes::deliver_webhooks;
use crate::app::notify::deliver::{DeliverReport, Limits, deliver_due};
use crate::app::notify::{Composer, Scene, Written, webhooks, write};
use crate::app::ports::{
    AppStore, Clock, Committed, Courier, Endpoints, Registry, RoundCommit, StoreError,
    WeatherSources,
};
use crate::app::settings::Yard;
use crate::app::settings::schedule::Schedule;
use crate::domain::alert::{Decision, Transition, worklist};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::weather::ForecastState;
use crate::domain::yard::Site;

/// Places are judged anew after this long even when nothing changed: the clock moves on.
const JUDGE_AT_LEAST_EVERY: TimeDelta = TimeDelta::hours(3);
/// A last run so far ahead of the clock was noted under a wrong clock.
const CLOCK_APART: TimeDelta = TimeDelta::hours(2);
/// How often a round is decided anew because another one landed meanwhile. Each time somebody else got further, and a
/// round lands three times at most, so that this lets four rounds by.
const TRIES: usize = 12;

/// What a service remembers between its rounds, only to spare work: without it a round does the same, at more length.
#[derive(Debug, Default)]
pub struct Memory {
    log_head: String,
    places: BTreeMap<SiteId, Judged>,
}

/// What a place was last judged on.
#[derive(Debug, PartialEq, Eq)]
struct Judged {
    issued_at: Option<DateTime<Utc>>,
    state: ForecastState,
    at: DateTime<Utc>,
}

/// What came of a round.
#[derive(Debug, Default)]
pub struct RoundReport {
    /// Place by place.
    pub fetched: Vec<Fetched>,
    /// The look over the yard, if one was needed.
    pub assessment: Option<Assessment>,
    /// Alerts raised, updated or closed: transitions in words.
    pub changes: Vec<String>,
    /// Letters that entered the outbox.
    pub queued: usize,
    /// Letters that could not be written or have no address: the next contact hears of them.
    pub unsendable: usize,
    /// People whom nothing reaches, and nobody else for them.
    pub nobody_left: Vec<PersonId>,
    /// What became of the outbox; `None` where nothing was to be sent.
    pub delivered: Option<DeliverReport>,
}

impl RoundReport {
    /// Is a place without a usable forecast?
    #[must_use]
    pub fn is_blind(&self) -> bool {
        self.assessment.as_ref().is_some_and(Assessment::is_blind)
    }
}

/// Everything that a round works with.
pub struct RoundDeps<'a> {
    /// Store, tables, settings.
    pub house: &'a AppContext,
    /// The words and the sender.
    pub composer: &'a Composer,
    /// The way to the weather; `None` looks at what is stored.
    pub client: Option<&'a dyn WeatherSources>,
    /// The way out; `None` leaves everything in the outbox.
    pub channel: Option<&'a mut dyn Courier>,
    /// The programs that want signed notes; `None` where none is named.
    pub endpoints: Option<&'a Endpoints>,
    /// The present, read again once the services have answered: what another round has fetched meanwhile is known then.
    /// `None` where the round is at a stated time.
    pub clock: Option<&'a dyn Clock>,
}

/// Does one round at `now`.
///
/// # Errors
/// The store's, or a hole in the tables. Trouble with a weather service or the relay is part of the report.
pub async fn round(
    works: &mut RoundDeps<'_>,
    memory: &mut Memory,
    now: DateTime<Utc>,
) -> Result<RoundReport, ServiceError> {
    let house = works.house;
    let mut report = RoundReport::default();
    if let Some(client) = works.client {
        let sites = house.store.sites()?;
        report.fetched = fetch_pass(house, client, &sites, now, &|| true).await?;
    }
    let now = works.clock.map_or(now, |clock| clock.now().max(now));
    // Twice at most: what came to nobody is told anew in the same round.
    for _ in 0..2 {
        if let Some(judged) = judge_pass(house, works.composer, memory, now)? {
            report.assessment = Some(judged.assessment);
            report.changes.extend(judged.changes);
            report.queued += judged.queued;
            report.unsendable += judged.unsendable;
        }
        let unreached = turn_to_next_contact(house, works.composer, now)?;
        report.queued += unreached.queued;
        report.nobody_left.extend(unreached.nobody_left.iter().cloned());
        if !unreached.tell_anew {
            break;
        }
        *memory = Memory::default();
    }
    if let Some(channel) = works.channel.as_deref_mut() {
        report.delivered =
            Some(deliver_due(&*house.store, channel, now, &Limits::default()).await?);
        if let Some(endpoints) = works.endpoints {
            let sent = deliver_webhooks(&*house.store, endpoints, now, &|| true).await?;
            for trouble in endpoints.troubles.iter().chain(&sent.troubles) {
                tracing::warn!("{trouble}");
            }
        }
    }
    Ok(report)
}

/// Asks for the forecasts of `sites` and notes how it went; `go_on` as for [`fetch_all`].
///
/// # Errors
/// The store's.
pub async fn fetch_pass(
    house: &AppContext,
    clients: &dyn WeatherSources,
    sites: &[Site],
    now: DateTime<Utc>,
    should_continue: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Fetched>, ServiceError> {
    let fetched = fetch_all(&*house.store, clients, sites, now, should_continue).await?;
    house.clock.note_clients(clients, now);
    let trouble: Vec<&str> =
        fetched.iter().map(|f| f.trouble.as_str()).filter(|t| !t.is_empty()).collect();
    let text = if trouble.is_empty() { "all answered".into() } else { trouble.join("; ") };
    if !trouble.is_empty() || fetched.iter().any(|f| f.new_issue) {
        house.store.put_status("fetch", trouble.is_empty(), now, &text)?;
    }
    Ok(fetched)
}

/// What came of judging.
#[derive(Debug)]
pub struct Judgement {
    /// The look over the places that had changed.
    pub assessment: Assessment,
    /// Alerts raised, updated or closed: transitions in words.
    pub changes: Vec<String>,
    /// Letters that entered the outbox.
    pub queued: usize,
    /// Letters that could not be written or have no address.
    pub unsendable: usize,
}

/// Judges the places at which something has changed, decides, and puts what is to be told into the outbox together with
/// the alerts; the worklist too when its time has come. `None` where nothing was to be done.
///
/// # Errors
/// The store's, or a hole in the tables; nothing has changed then.
pub fn judge_pass(
    house: &AppContext,
    composer: &Composer,
    memory: &mut Memory,
    now: DateTime<Utc>,
) -> Result<Option<Judgement>, ServiceError> {
    let worklist_due =
        worklist_due(&*house.store, &house.settings.yard, now)?.is_some_and(|due| due <= now);
    let stale = if worklist_due {
        all_places(&*house.store)?
    } else {
        memory.stale(&*house.store, house.forecasts(), now)?
    };
    if stale.is_empty() {
        return Ok(None);
    }
    judge_and_decide((house, composer), memory, (&stale, worklist_due), now)
}

fn judge_and_decide(
    (app, composer): (&AppContext, &Composer),
    memory: &mut Memory,
    (stale, worklist_due): (&BTreeSet<SiteId>, bool),
    now: DateTime<Utc>,
) -> Result<Option<Judgement>, ServiceError> {
    for last in (0..TRIES).rev() {
        // The head from before the look: what was entered meanwhile is looked at next time.
        let (based_on, log_head) = (app.store.generation()?, app.store.log_head()?);
        let seen = assess(app, AsOf::now(now), |site| stale.contains(site))?;
        let decision = decide_round(app, &seen, worklist_due, now)?;
        let scene = Scene { app, composer, yard: &seen.yard, seen: Some(&seen), now };
        let mut written = write(&scene, &decision.notifications);
        written.letters.extend(webhooks::of_round(&scene, &decision, worklist_due));
        let commit = commit_of(&scene, &seen, &decision, written)?;
        let unsendable = commit.unsendable.len();
        match app.store.commit_round(&RoundCommit { based_on: Some(based_on), ..commit }) {
            Ok(committed) => {
                memory.log_head = log_head;
                memory.places.extend(judged_on(&seen, now));
                let changes = decision.transitions.iter().map(in_words).collect();
                let Committed { queued, .. } = committed;
                return Ok(Some(Judgement { changes, queued, unsendable, assessment: seen }));
            }
            // Somebody else's round landed between our reading and our writing.
            Err(StoreError::Overtaken) if last > 0 => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(None)
}

fn in_words(t: &Transition) -> String {
    format!("{}: {} to {} ({})", t.alert, t.from.as_str(), t.to.as_str(), t.reason)
}

/// Everything that a round has decided, as one transaction.
fn commit_of(
    scene: &Scene<'_>,
    seen: &Assessment,
    decision: &Decision,
    written: Written,
) -> Result<RoundCommit, ServiceError> {
    let (app, now) = (scene.app, scene.now);
    let alerts = decision.alerts.iter().map(|alert| record_of(alert, now));
    Ok(RoundCommit {
        alerts: alerts.collect::<Result<_, _>>()?,
        transitions: transition_rows(decision)?,
        letters: written.letters,
        unsendable: written.unsendable,
        exposures: spells_now((&*app.store, &app.catalogue), seen, now)?,
        separated: newly_slush(seen, now),
        runs: decision.remember.iter().map(|name| (name.clone(), now)).collect(),
        ..RoundCommit::default()
    })
}

fn judged_on(seen: &Assessment, at: DateTime<Utc>) -> impl Iterator<Item = (SiteId, Judged)> {
    seen.places.iter().map(move |(id, place)| {
        let issued_at = place.forecast.as_ref().map(|forecast| forecast.issued_at);
        (id.clone(), Judged { issued_at, state: place.state, at })
    })
}

fn all_places(store: &dyn Registry) -> Result<BTreeSet<SiteId>, ServiceError> {
    Ok(store.sites()?.into_iter().map(|site| site.id).collect())
}

impl Memory {
    /// The places at which something has changed since the last look: an issue, how fresh the forecast is, the log, or
    /// just the time.
    fn stale(
        &self,
        store: &dyn AppStore,
        forecasts: Forecasts<'_>,
        now: DateTime<Utc>,
    ) -> Result<BTreeSet<SiteId>, ServiceError> {
        let mut stale = all_places(store)?;
        if store.log_head()? != self.log_head {
            return Ok(stale);
        }
        let mut known = BTreeSet::new();
        for (site, judged) in &self.places {
            let (forecast, state) =
                crate::app::assess::outlook::standing_of(forecasts, site, AsOf::now(now))?;
            let same = forecast.map(|f| f.issued_at) == judged.issued_at && state == judged.state;
            if same && now >= judged.at && now - judged.at < JUDGE_AT_LEAST_EVERY {
                known.insert(site.clone());
            }
        }
        stale.retain(|site| !known.contains(site));
        Ok(stale)
    }
}

impl Memory {
    /// When judging has something to do next, if nothing new comes: a forecast passes a limit of age, a look is three
    /// hours old, the worklist is due. `since` is the last time that anybody looked whether something had changed.
    ///
    /// # Errors
    /// The store's.
    pub fn next_due(
        &self,
        house: &AppContext,
        since: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, ServiceError> {
        let mut next = now + JUDGE_AT_LEAST_EVERY;
        for (site, judged) in &self.places {
            next = next.min(judged.at.max(since - JUDGE_AT_LEAST_EVERY) + JUDGE_AT_LEAST_EVERY);
            for standing in
                crate::app::assess::outlook::standings_of(house.forecasts(), site, AsOf::now(now))?
            {
                let aged = house.settings.forecast.limits.next_change(&standing, since);
                next = next.min(aged.unwrap_or(next));
            }
        }
        Ok(worklist_due(&*house.store, &house.settings.yard, now)?
            .map_or(next, |due| due.min(next)))
    }
}

/// When the worklist is due next, now or earlier if its time has come. The first time ever counts from the first round.
///
/// # Errors
/// The store's.
pub fn worklist_due(
    store: &dyn AppStore,
    yard: &Yard,
    now: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, ServiceError> {
    let schedule = Schedule::parse(&yard.worklist)
        .map_err(|why| ServiceError::Schedule { key: "yard.worklist", why })?;
    let zone = yard.time_zone;
    let last = store.last_run(worklist::RUN)?;
    // A last run in the future means that the clock has been put back since: it counts from now on.
    let Some(last) = last.filter(|last| *last <= now + CLOCK_APART) else {
        let first =
            RoundCommit { runs: vec![(worklist::RUN.to_owned(), now)], ..RoundCommit::default() };
        store.commit_round(&first)?;
        return Ok(schedule.next_after(now, zone));
    };
    Ok(schedule.next_after(last, zone))
}
