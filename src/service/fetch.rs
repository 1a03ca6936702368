//! One pass over the places: ask each weather service for what may have changed.

use chrono::{DateTime, Utc};

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

/// Asks for every place whose time has come, keeps what is new, and notes how it went.
///
/// # Errors
/// Only the store's: trouble with a service is a result.
pub async fn fetch_all<'a>(
    house: &House,
    client: &Client,
    sites: impl IntoIterator<Item = &'a Site>,
    now: DateTime<Utc>,
) -> Result<Vec<Fetched>, ServiceError> {
    let mut all = Vec::new();
    for site in sites {
        all.push(fetch_one(house, client, site, now).await?);
    }
    Ok(all)
}

async fn fetch_one(
    house: &House,
    client: &Client,
    site: &Site,
    now: DateTime<Utc>,
) -> Result<Fetched, ServiceError> {
    let service = client.service().name();
    let mut fetched =
        Fetched { site: site.id.clone(), new_issue: false, refused: false, trouble: String::new() };
    let place = match Place::new(site.latitude, site.longitude) {
        Ok(place) => place,
        Err(error) => {
            fetched.refused = true;
            fetched.trouble = error.to_string();
            return Ok(fetched);
        }
    };
    let known = house.store.fetch_state::<FetchState>(service, &site.id)?;
    let mut state = known.map(|known| known.document).unwrap_or_default();
    let stored = house.store.latest_issue(&site.id, service)?;
    let before = state.clone();
    let outcome = client.fetch(place, stored, &mut state, now).await;
    match &outcome {
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
    if state != before {
        let answered = outcome.is_answer().then_some(now);
        house.store.put_fetch_state(service, &site.id, &state, answered)?;
    }
    if !fetched.trouble.is_empty() {
        tracing::warn!(site.id = %site.id, source.name = service, "{}: {}", site.id, fetched.trouble);
    }
    Ok(fetched)
}
