//! One pass over the places: ask each weather service for what may have changed.

use chrono::{DateTime, TimeDelta, Utc};

use super::house::{House, ServiceError};
use crate::domain::boat::SiteId;
use crate::domain::yard::Site;
use crate::forecast::Place;
use crate::forecast::client::{Client, FetchState, Outcome};

/// What came of asking for one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Fetched {
    /// The place.
    pub site: SiteId,
    /// A new issue was kept.
    pub new_issue: bool,
    /// The service refuses this place for good.
    pub refused: bool,
    /// What happened, for people; empty when all went as it should.
    pub trouble: String,
}

/// Failures in a row after which the other places are left for the next pass: the service is away, and asking it for
/// each of a hundred places helps nobody.
const FAILURES_IN_A_ROW_MOST: usize = 3;
/// A place is asked for up to so long after its answer has expired, by its id, so that not all come in one second.
const OFFSET_S_MOST: u64 = 90;

/// Places with the same coordinates, asked for once.
struct Group<'a> {
    place: Place,
    sites: Vec<&'a Site>,
}

/// Asks for every place whose time has come, keeps what is new, and notes how it went. `go_on` is asked before each
/// call and ends the pass where it says no.
///
/// # Errors
/// Only the store's: trouble with a service is a result.
pub async fn fetch_all<'a>(
    house: &House,
    client: &Client,
    sites: impl IntoIterator<Item = &'a Site>,
    now: DateTime<Utc>,
    go_on: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Fetched>, ServiceError> {
    let mut all = Vec::new();
    let mut groups: Vec<Group<'_>> = Vec::new();
    for site in sites {
        match Place::new(site.latitude, site.longitude) {
            Ok(place) => match groups.iter_mut().find(|group| group.place == place) {
                Some(group) => group.sites.push(site),
                None => groups.push(Group { place, sites: vec![site] }),
            },
            Err(error) => all.push(Fetched {
                site: site.id.clone(),
                new_issue: false,
                refused: true,
                trouble: error.to_string(),
            }),
        }
    }
    let mut failures = 0;
    for group in &groups {
        if failures >= FAILURES_IN_A_ROW_MOST || !go_on() {
            break;
        }
        let (fetched, failed) = fetch_group(house, client, group, now).await?;
        failures = if failed { failures + 1 } else { 0 };
        all.extend(fetched);
    }
    Ok(all)
}

/// When a place is to be asked for next: when its last answer has expired, and a little later by its id.
///
/// # Errors
/// The store's.
pub fn fetch_due(
    house: &House,
    service: &str,
    site: &SiteId,
) -> Result<Option<DateTime<Utc>>, ServiceError> {
    let Some(known) = house.store.fetch_state::<FetchState>(service, site)? else {
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

/// Asks for one group. The second answer says whether the call failed in passing.
async fn fetch_group(
    house: &House,
    client: &Client,
    group: &Group<'_>,
    now: DateTime<Utc>,
) -> Result<(Vec<Fetched>, bool), ServiceError> {
    let service = client.service().name();
    // Of several the one that has waited longest speaks for all; one that is new has waited for ever.
    let mut state: Option<FetchState> = None;
    let mut stored: Option<Option<DateTime<Utc>>> = None;
    for site in &group.sites {
        let known = house.store.fetch_state::<FetchState>(service, &site.id)?;
        let own = known.map(|known| known.document).unwrap_or_default();
        if state.as_ref().is_none_or(|first| own.not_before < first.not_before) {
            state = Some(own);
        }
        let issue = house.store.latest_issue(&site.id, service)?;
        stored = Some(stored.map_or(issue, |earlier| earlier.min(issue)));
    }
    let mut state = state.unwrap_or_default();
    let before = state.clone();
    let outcome = client.fetch(group.place, stored.flatten(), &mut state, now).await;
    let mut all = Vec::new();
    for site in &group.sites {
        let fetched = keep(house, site, &outcome, now)?;
        if state != before {
            let answered = outcome.is_answer().then_some(now);
            house.store.put_fetch_state(service, &site.id, &state, answered)?;
        }
        if !fetched.trouble.is_empty() {
            tracing::warn!(site.id = %site.id, source.name = service, "{}: {}", site.id, fetched.trouble);
        }
        all.push(fetched);
    }
    Ok((all, matches!(outcome, Outcome::Transient { .. } | Outcome::Throttled { .. })))
}

/// Keeps what came for one place.
fn keep(
    house: &House,
    site: &Site,
    outcome: &Outcome,
    now: DateTime<Utc>,
) -> Result<Fetched, ServiceError> {
    let mut fetched =
        Fetched { site: site.id.clone(), new_issue: false, refused: false, trouble: String::new() };
    match outcome {
        Outcome::Fresh(forecast, _) => {
            fetched.new_issue = house.store.put_forecast(&site.id, forecast, now)?;
        }
        Outcome::NotModified | Outcome::NotDue { .. } => {}
        Outcome::Permanent { why } | Outcome::Blocked { why } => {
            fetched.refused = true;
            fetched.trouble.clone_from(why);
        }
        Outcome::Throttled { until } => {
            fetched.trouble = format!("the service asks us to wait until {until}");
        }
        Outcome::Stale { why } | Outcome::Transient { why } | Outcome::Malformed { why } => {
            fetched.trouble.clone_from(why);
        }
    }
    Ok(fetched)
}
