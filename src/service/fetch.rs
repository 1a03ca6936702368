//! One pass over the places: ask each weather service for what may have changed. Places that a service answers alike
//! share one request.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::house::{House, ServiceError};
use crate::domain::boat::SiteId;
use crate::domain::weather::Forecast;
use crate::domain::yard::Site;
use crate::forecast::Place;
use crate::forecast::client::{Client, Clients, FetchState, Outcome};

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

/// Answers of this pass by cell: the issue, and the state that it left.
type Answered = BTreeMap<String, (Forecast, FetchState)>;

/// What one service had for one place.
struct One {
    new_issue: bool,
    refused: bool,
    trouble: String,
}

/// Asks for every place whose time has come, keeps what is new, and notes how it went.
///
/// # Errors
/// Only the store's: trouble with a service is a result.
pub async fn fetch_all<'a>(
    house: &House,
    clients: &Clients,
    sites: impl IntoIterator<Item = &'a Site>,
    now: DateTime<Utc>,
) -> Result<Vec<Fetched>, ServiceError> {
    let mut answered: Vec<Answered> = clients.0.iter().map(|_| Answered::new()).collect();
    let mut all = Vec::new();
    for site in sites {
        let mut ones = Vec::new();
        for (client, answered) in clients.0.iter().zip(&mut answered) {
            ones.push(fetch_one(house, client, site, answered, now).await?);
        }
        let refused = ones.iter().all(|one| one.refused);
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
    Ok(all)
}

async fn fetch_one(
    house: &House,
    client: &Client,
    site: &Site,
    answered: &mut Answered,
    now: DateTime<Utc>,
) -> Result<One, ServiceError> {
    let service = client.service().name();
    let place = match Place::new(site.latitude, site.longitude) {
        Ok(place) => place,
        Err(error) => {
            return Ok(One { new_issue: false, refused: true, trouble: error.to_string() });
        }
    };
    let known = house.store.fetch_state::<FetchState>(service, &site.id)?;
    let mut state = known.map(|known| known.document).unwrap_or_default();
    let height = Some(site.elevation_m);
    let cell = client.cell(place, height, &state);
    if let Some((forecast, left)) = cell.and_then(|cell| answered.get(&cell)) {
        let new_issue = house.store.put_forecast(&site.id, forecast, now)?;
        let shared = FetchState { resolved_at: state.resolved_at, ..left.clone() };
        house.store.put_fetch_state(service, &site.id, &shared, Some(now))?;
        return Ok(One { new_issue, refused: false, trouble: String::new() });
    }
    let stored = house.store.latest_issue(&site.id, service)?;
    let before = state.clone();
    let outcome = client.fetch_at(place, height, stored, &mut state, now).await;
    let mut one = One { new_issue: false, refused: state.refused, trouble: String::new() };
    match &outcome {
        Outcome::Fresh(forecast, _) => {
            one.new_issue = house.store.put_forecast(&site.id, forecast, now)?;
            if let Some(cell) = client.cell(place, height, &state) {
                answered.insert(cell, (*forecast.clone(), state.clone()));
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
    if state != before {
        let answered = outcome.is_answer().then_some(now);
        house.store.put_fetch_state(service, &site.id, &state, answered)?;
    }
    if !one.trouble.is_empty() {
        tracing::warn!(site.id = %site.id, source.name = service, "{}: {}", site.id, one.trouble);
    }
    Ok(one)
}
