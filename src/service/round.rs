//! One pass: fetch, judge, decide, deliver. A restart and an ordinary round are the same path; a round that finds
//! nothing new changes nothing.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::deciding::{decide_all, record_of, transition_rows};
use super::fetch::{Fetched, fetch_all};
use super::house::{House, ServiceError};
use super::letters::{Desk, letters};
use super::report::worklist_letters;
use super::survey::{Instant, Survey, survey};
use crate::delivery::outbox::{Channel, DeliverReport, Limits, deliver_due};
use crate::domain::boat::SiteId;
use crate::domain::weather::ForecastState;
use crate::forecast::client::Clients;
use crate::settings::schedule::Schedule;
use crate::store::{RoundCommit, StoreError};

/// Places are judged anew after this long even when nothing changed: the clock moves on.
const JUDGE_AT_LEAST_EVERY: TimeDelta = TimeDelta::hours(3);
/// How often a round is decided anew because another one landed meanwhile.
const TRIES: usize = 3;
/// Name under which the store keeps when the worklist last went out.
const WORKLIST_RUN: &str = "worklist";

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
    pub survey: Option<Survey>,
    /// Alerts raised, updated or closed: transitions in words.
    pub changes: Vec<String>,
    /// Letters that entered the outbox.
    pub queued: usize,
    /// What became of the outbox; `None` where nothing was to be sent.
    pub delivered: Option<DeliverReport>,
}

impl RoundReport {
    /// Is a place without a usable forecast?
    #[must_use]
    pub fn is_blind(&self) -> bool {
        self.survey.as_ref().is_some_and(Survey::is_blind)
    }
}

/// Everything that a round works with.
pub struct Works<'a> {
    /// Store, tables, settings.
    pub house: &'a House,
    /// The words and the sender.
    pub desk: &'a Desk,
    /// The way to the weather; `None` looks at what is stored.
    pub client: Option<&'a Clients>,
    /// The way out; `None` leaves everything in the outbox.
    pub channel: Option<&'a mut Channel>,
}

/// Does one round at `now`.
///
/// # Errors
/// The store's, or a hole in the tables. Trouble with a weather service or the relay is part of the report.
pub async fn round(
    works: &mut Works<'_>,
    memory: &mut Memory,
    now: DateTime<Utc>,
) -> Result<RoundReport, ServiceError> {
    let house = works.house;
    let mut report = RoundReport::default();
    if let Some(client) = works.client {
        let sites = house.store.sites()?;
        report.fetched = fetch_all(house, client, &sites, now).await?;
        let trouble: Vec<&str> =
            report.fetched.iter().map(|f| f.trouble.as_str()).filter(|t| !t.is_empty()).collect();
        let text = if trouble.is_empty() { "all answered".into() } else { trouble.join("; ") };
        if !trouble.is_empty() || report.fetched.iter().any(|f| f.new_issue) {
            house.store.put_status("fetch", trouble.is_empty(), now, &text)?;
        }
    }
    let worklist_due = worklist_due(house, now)?;
    let stale = if worklist_due { all_places(house)? } else { memory.stale(house, now)? };
    if !stale.is_empty() {
        judge_and_decide(works, memory, (&stale, worklist_due), now, &mut report)?;
    }
    if let Some(channel) = works.channel.as_deref_mut() {
        report.delivered = Some(deliver_due(&house.store, channel, now, &Limits::default()).await?);
    }
    Ok(report)
}

fn judge_and_decide(
    works: &Works<'_>,
    memory: &mut Memory,
    (stale, worklist_due): (&BTreeSet<SiteId>, bool),
    now: DateTime<Utc>,
    report: &mut RoundReport,
) -> Result<(), ServiceError> {
    let house = works.house;
    for last in (0..TRIES).rev() {
        let based_on = house.store.generation()?;
        let seen = survey(house, Instant::now(now), |site| stale.contains(site))?;
        let decision = decide_all(house, &seen, now)?;
        let mut commit = RoundCommit {
            based_on: Some(based_on),
            transitions: transition_rows(&decision)?,
            letters: letters(house, works.desk, &seen, &decision.tellings, now)?,
            ..RoundCommit::default()
        };
        for alert in &decision.alerts {
            commit.alerts.push(record_of(alert, now)?);
        }
        if worklist_due {
            commit.letters.extend(worklist_letters(house, works.desk, &seen, now)?);
            commit.runs.push((WORKLIST_RUN.to_owned(), now));
        }
        match house.store.commit_round(&commit) {
            Ok(committed) => {
                report.queued = committed.queued;
                report.changes = decision
                    .transitions
                    .iter()
                    .map(|t| {
                        format!(
                            "{}: {} to {} ({})",
                            t.alert,
                            t.from.as_str(),
                            t.to.as_str(),
                            t.reason
                        )
                    })
                    .collect();
                memory.log_head = house.store.log_head()?;
                memory.places.extend(judged_on(&seen, now));
                report.survey = Some(seen);
                return Ok(());
            }
            // Somebody else's round landed between our reading and our writing.
            Err(StoreError::Overtaken) if last > 0 => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}

fn judged_on(seen: &Survey, at: DateTime<Utc>) -> impl Iterator<Item = (SiteId, Judged)> {
    seen.places.iter().map(move |(id, place)| {
        let issued_at = place.forecast.as_ref().map(|forecast| forecast.issued_at);
        (id.clone(), Judged { issued_at, state: place.state, at })
    })
}

fn all_places(house: &House) -> Result<BTreeSet<SiteId>, ServiceError> {
    Ok(house.store.sites()?.into_iter().map(|site| site.id).collect())
}

impl Memory {
    /// The places at which something has changed since the last look: an issue, how fresh the forecast is, the log, or
    /// just the time.
    fn stale(&self, house: &House, now: DateTime<Utc>) -> Result<BTreeSet<SiteId>, ServiceError> {
        let mut stale = all_places(house)?;
        if house.store.log_head()? != self.log_head {
            return Ok(stale);
        }
        let mut known = BTreeSet::new();
        for (site, judged) in &self.places {
            let (forecast, state) = super::outlook::standing_of(house, site, Instant::now(now))?;
            let same = forecast.map(|f| f.issued_at) == judged.issued_at && state == judged.state;
            if same && now >= judged.at && now - judged.at < JUDGE_AT_LEAST_EVERY {
                known.insert(site.clone());
            }
        }
        stale.retain(|site| !known.contains(site));
        Ok(stale)
    }
}

/// Has the time of the worklist come since it last went out? The first time ever counts from the first round.
fn worklist_due(house: &House, now: DateTime<Utc>) -> Result<bool, ServiceError> {
    let schedule = Schedule::parse(&house.settings.yard.worklist).map_err(ServiceError::Told)?;
    let Some(last) = house.store.last_run(WORKLIST_RUN)? else {
        let first =
            RoundCommit { runs: vec![(WORKLIST_RUN.to_owned(), now)], ..RoundCommit::default() };
        house.store.commit_round(&first)?;
        return Ok(false);
    };
    Ok(schedule.next_after(last, house.settings.yard.time_zone).is_some_and(|due| due <= now))
}
