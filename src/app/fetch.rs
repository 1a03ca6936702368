//! One pass over the places: ask each weather service for what may have changed. Places that a service answers alike
//! share one request.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::assess::notices::NOTICES;
use crate::app::error::ServiceError;
use crate::app::ports::ForecastStore;
use crate::app::ports::{
    FetchState, NoticeState, Outcome, RefusedAnswer, Service, StateDocuments as _, StationState,
    WeatherSource, WeatherSources,
};
use crate::domain::boat::SiteId;
use crate::domain::weather::coordinates::Place;
use crate::domain::yard::Site;

/// What came of asking for one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Fetched {
    /// The place.
    pub site: SiteId,
    /// A new issue was kept.
    pub new_issue: bool,
    /// Every service that was asked refuses this place for good.
    pub refused: bool,
    /// What happened, for people; empty when all went as it should.
    pub trouble: String,
}

/// Failures in a row after which the other places are left for the next pass: the service is away, and asking it for
/// each of a hundred places helps nobody.
const FAILURES_IN_A_ROW_MOST: usize = 3;
/// A place is asked for up to so long after its answer has expired, by its id, so that not all come in one second.
const OFFSET_S_MOST: u64 = 90;

/// One service in this pass: its answers by cell, and how often it has failed in a row.
struct Asked<'a> {
    client: &'a dyn WeatherSource,
    answers: BTreeMap<String, Shared>,
    failures: usize,
}

/// Where the store keeps what is known about the stations of a place.
const STATIONS: &str = "nws-observation";

/// An answer that other places may share: what came, the state that it left, and the issue that was held before.
struct Shared {
    outcome: Outcome,
    left: FetchState,
    stored: Option<DateTime<Utc>>,
}

/// What one service had for one place.
struct One {
    new_issue: bool,
    refused: bool,
    trouble: String,
}

/// Asks for every place whose time has come, keeps what is new, and notes how it went. `go_on` is asked before each
/// place and ends the pass where it says no.
///
/// # Errors
/// Only the store's: trouble with a service is a result.
pub async fn fetch_all<'a>(
    store: &dyn ForecastStore,
    clients: &dyn WeatherSources,
    sites: impl IntoIterator<Item = &'a Site>,
    now: DateTime<Utc>,
    should_continue: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Fetched>, ServiceError> {
    let start = |client| Asked { client, answers: BTreeMap::new(), failures: 0 };
    let mut services: Vec<Asked<'_>> = clients.sources().into_iter().map(start).collect();
    let (mut all, mut asked_for) = (Vec::new(), Vec::new());
    for site in longest_unanswered_first(store, clients, sites, now)? {
        let mut ones = Vec::new();
        for asked in &mut services {
            if asked.failures < FAILURES_IN_A_ROW_MOST && should_continue() {
                ones.push(fetch_one(store, asked, site, now).await?);
            }
        }
        if ones.is_empty() {
            break;
        }
        asked_for.push(site);
        let refused = ones.len() == services.len() && ones.iter().all(|one| one.refused);
        // A service that does not serve the place is no trouble while another one does.
        let troubles = ones.iter().filter(|one| refused || !one.refused);
        let troubles: Vec<&str> =
            troubles.map(|one| one.trouble.as_str()).filter(|t| !t.is_empty()).collect();
        all.push(Fetched {
            site: site.id.clone(),
            new_issue: ones.iter().any(|one| one.new_issue),
            refused,
            trouble: troubles.join("; "),
        });
    }
    // What is only looked at besides comes after all forecasts: nobody waits for it.
    for site in asked_for {
        for asked in &services {
            if asked.failures < FAILURES_IN_A_ROW_MOST && should_continue() {
                observe(store, asked, site, now).await?;
                notices(store, asked, site, now).await?;
            }
        }
    }
    Ok(all)
}

/// A place that a service failed for is put last for so long after its next try was due.
const SICK_FOR: TimeDelta = TimeDelta::hours(3);

/// Where a place stands in a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Turn {
    /// A service has answered for it, or was never asked: the longest ago first.
    Well(Option<DateTime<Utc>>),
    /// A service fails for it: the longest since it was last tried first.
    Sick(Option<DateTime<Utc>>),
}

/// The places in the order in which they are asked for. Those that a service has answered for longest ago come first, so that
/// where its hourly budget does not reach for all, each has its turn; those that it fails for come after all others, since some
/// sick cells must not end the pass for those that are well.
fn longest_unanswered_first<'a>(
    store: &dyn ForecastStore,
    clients: &dyn WeatherSources,
    sites: impl IntoIterator<Item = &'a Site>,
    now: DateTime<Utc>,
) -> Result<Vec<&'a Site>, ServiceError> {
    let mut order: Vec<(Turn, &Site)> = Vec::new();
    for site in sites {
        let mut turn: Option<Turn> = None;
        for client in clients.sources() {
            let known = store.fetch_state::<FetchState>(client.service().name(), &site.id)?;
            let own = match known {
                // What a service refuses for good waits for nothing.
                Some(known) if known.document.refused => continue,
                // One that was not tried for hours may be well again.
                Some(known)
                    if known.document.consecutive_failures > 0
                        && known.document.not_before.is_some_and(|at| now - at < SICK_FOR) =>
                {
                    Turn::Sick(known.document.not_before)
                }
                other => Turn::Well(other.and_then(|known| known.last_answer)),
            };
            // With one of several services well, the place is asked for as such.
            turn = Some(turn.map_or(own, |before| before.min(own)));
        }
        order.push((turn.unwrap_or(Turn::Sick(None)), site));
    }
    order.sort_by_key(|(turn, _)| *turn);
    Ok(order.into_iter().map(|(_, site)| site).collect())
}

/// When a place is to be asked for next: when its last answer has expired, and a little later by its id.
///
/// # Errors
/// The store's.
pub fn fetch_due(
    store: &dyn ForecastStore,
    service: &str,
    site: &SiteId,
) -> Result<Option<DateTime<Utc>>, ServiceError> {
    let Some(known) = store.fetch_state::<FetchState>(service, site)? else {
        return Ok(None);
    };
    let state = known.document;
    // After a failure the wait is the client's own, and spread already.
    let offset = if state.consecutive_failures == 0 { offset(site) } else { TimeDelta::zero() };
    Ok(state.not_before.map(|at| at + offset))
}

fn offset(site: &SiteId) -> TimeDelta {
    let hash = site
        .as_str()
        .bytes()
        .fold(7_u64, |hash, byte| hash.wrapping_mul(31).wrapping_add(u64::from(byte)) % 1_000_003);
    TimeDelta::seconds(i64::try_from(hash % OFFSET_S_MOST).unwrap_or(0))
}

async fn fetch_one(
    store: &dyn ForecastStore,
    asked: &mut Asked<'_>,
    site: &Site,
    now: DateTime<Utc>,
) -> Result<One, ServiceError> {
    let client = asked.client;
    let service = client.service().name();
    let place = match Place::new(site.latitude, site.longitude) {
        Ok(place) => place,
        Err(error) => {
            return Ok(One { new_issue: false, refused: true, trouble: error.to_string() });
        }
    };
    let known = store.fetch_state::<FetchState>(service, &site.id)?;
    let mut state = known.map(|known| known.document).unwrap_or_default();
    let stored = store.latest_issue(&site.id, service, now)?;
    let height = Some(site.elevation_m);
    let cell = client.cell(place, height, &state);
    if let Some(shared) = cell.as_ref().and_then(|cell| asked.answers.get(cell)) {
        // "Not modified" and failures speak only for who holds the same.
        if matches!(shared.outcome, Outcome::Fresh(..)) || shared.stored == stored {
            return keep(store, client, site, &shared.outcome, &shared.left, now);
        }
    }
    let before = state.clone();
    let outcome = client.fetch((place, height), stored, &mut state, now).await;
    if let Some(aside) = client.take_aside() {
        let (service, at) = (service.to_owned(), now);
        let answer = RefusedAnswer { service, at, why: aside.why, body: aside.body };
        // Only for whoever looks into it: a full disk must not undo the pacing that is kept below.
        if let Err(error) = store.put_refused(&site.id, &answer) {
            tracing::warn!(site.id = %site.id, %error, "a refused answer is not kept");
        }
    }
    let one = if state == before {
        let refused = state.refused;
        One { new_issue: false, refused, trouble: String::new() }
    } else {
        keep(store, client, site, &outcome, &state, now)?
    };
    let failed = matches!(outcome, Outcome::Transient { .. } | Outcome::Throttled { .. });
    asked.failures = if failed { asked.failures.saturating_add(1) } else { 0 };
    if !matches!(outcome, Outcome::NotDue { .. }) {
        for cell in [cell, client.cell(place, height, &state)].into_iter().flatten() {
            let shared = Shared { outcome: outcome.clone(), left: state.clone(), stored };
            asked.answers.insert(cell, shared);
        }
    }
    Ok(one)
}

/// Asks the stations near a place, where the service has such and its time has come; trouble is noted, not told: no
/// forecast hangs on it.
async fn observe(
    store: &dyn ForecastStore,
    asked: &Asked<'_>,
    site: &Site,
    now: DateTime<Utc>,
) -> Result<(), ServiceError> {
    let client = asked.client;
    if client.service() != Service::NwsGridpoint || asked.failures > 0 {
        return Ok(());
    }
    let known = store.fetch_state::<StationState>(STATIONS, &site.id)?;
    let mut state = known.map(|known| known.document).unwrap_or_default();
    if !state.is_due(now) {
        return Ok(());
    }
    let Some((place, grid)) = served(store, client, site)? else { return Ok(()) };
    let reading = client.observe(place, &grid, &mut state, now).await;
    if let Some(reading) = &reading {
        store.put_observation(&site.id, reading, now)?;
    } else if let Some(why) = &state.last_failure {
        tracing::debug!(site.id = %site.id, "no reading near {}: {why}", site.id);
    }
    store.put_fetch_state(STATIONS, &site.id, &state, reading.map(|_| now))?;
    Ok(())
}

/// The place and the path of its cell, once the service has said which that is.
fn served(
    store: &dyn ForecastStore,
    client: &dyn WeatherSource,
    site: &Site,
) -> Result<Option<(Place, String)>, ServiceError> {
    let known = store.fetch_state::<FetchState>(client.service().name(), &site.id)?;
    let grid = known.and_then(|known| known.document.grid_path);
    Ok(Place::new(site.latitude, site.longitude).ok().zip(grid))
}

/// Asks for the official notices of cold at a place, where the service serves it and its time has come; trouble is noted, not
/// told: no forecast hangs on it.
async fn notices(
    store: &dyn ForecastStore,
    asked: &Asked<'_>,
    site: &Site,
    now: DateTime<Utc>,
) -> Result<(), ServiceError> {
    let client = asked.client;
    if client.service() != Service::NwsGridpoint || asked.failures > 0 {
        return Ok(());
    }
    let known = store.fetch_state::<NoticeState>(NOTICES, &site.id)?;
    let mut state = known.map(|known| known.document).unwrap_or_default();
    if !state.is_due(now) {
        return Ok(());
    }
    let Some((place, _)) = served(store, client, site)? else { return Ok(()) };
    let answered = client.notices(place, &mut state, now).await;
    if let Some(why) = &state.last_failure {
        tracing::debug!(site.id = %site.id, "no official notices for {}: {why}", site.id);
    }
    store.put_fetch_state(NOTICES, &site.id, &state, answered.then_some(now))?;
    Ok(())
}

/// Keeps for one place what came, and the state that it left.
fn keep(
    store: &dyn ForecastStore,
    client: &dyn WeatherSource,
    site: &Site,
    outcome: &Outcome,
    state: &FetchState,
    now: DateTime<Utc>,
) -> Result<One, ServiceError> {
    let service = client.service().name();
    let mut one = One { new_issue: false, refused: state.refused, trouble: String::new() };
    match outcome {
        Outcome::Fresh(forecast, _) => {
            let kept = match client.service().states_its_issue() {
                true => None,
                false => store.latest_forecast(&site.id, Some(service), now)?,
            };
            // A service that goes on giving out one run gets older with it, though it does not say so.
            if !kept.is_some_and(|kept| kept.forecast.says_the_same(forecast)) {
                one.new_issue = store.put_forecast(&site.id, forecast, now)?;
            }
        }
        Outcome::NotModified | Outcome::NotDue { .. } => {}
        Outcome::Throttled { until } => {
            one.trouble = format!("{service} asks us to wait until {until}");
        }
        Outcome::Permanent { why }
        | Outcome::Blocked { why }
        | Outcome::Stale { why }
        | Outcome::Transient { why }
        | Outcome::Malformed { why } => one.trouble.clone_from(why),
    }
    let answered = outcome.is_answer().then_some(now);
    store.put_fetch_state(service, &site.id, state, answered)?;
    if !one.trouble.is_empty() {
        tracing::warn!(site.id = %site.id, source.name = service, "{}: {}", site.id, one.trouble);
    }
    Ok(one)
}
