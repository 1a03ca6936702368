//! The loop that asks the weather services: each place when its last answer has expired, plus an offset from its id.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::weather::client::Clients;
use crate::app::context::{AppContext, ServiceError};
use crate::app::fetch::fetch_due;
use crate::app::ports::{AppStore, ForecastStore};
use crate::app::round::fetch_pass;
use crate::daemon::task::{Done, ShouldContinue, Task};
use crate::domain::boat::SiteId;
use crate::domain::yard::Site;

/// Least time between two passes: after a pass that the service's failures cut short, the rest waits that long.
const APART: TimeDelta = TimeDelta::seconds(10);
/// A pass so long after the one before is the first after a sleep of the machine.
const GAP: TimeDelta = TimeDelta::minutes(12);
/// A place that is asked for so long after its time was not asked for because nobody was there to ask.
const OVERDUE: TimeDelta = TimeDelta::minutes(5);
/// No answer is good for longer; a time further ahead was set under a wrong clock.
const AHEAD_MOST: TimeDelta = TimeDelta::hours(7);

/// See the module.
pub struct FetchLoop {
    client: Option<Clients>,
    looked_at: Option<DateTime<Utc>>,
}

impl FetchLoop {
    pub(crate) const fn new(client: Option<Clients>) -> Self {
        Self { client, looked_at: None }
    }

    pub(crate) async fn activate(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
        should_continue: ShouldContinue<'_>,
    ) -> Result<Done, ServiceError> {
        // The first pass after a start or a sleep: judging waits for it.
        let awaited = self.looked_at.is_none_or(|at| at > now || now - at > GAP);
        self.looked_at = Some(now);
        let Some(client) = &self.client else { return Ok(Done::quiet("no service is enabled")) };
        let sites = house.store.sites()?;
        let due = due_sites(&*house.store, client, sites, now)?;
        if due.is_empty() {
            return Ok(Done::quiet("nothing is due"));
        }
        let fetched = fetch_pass(house, client, &due, now, should_continue).await?;
        let new = fetched.iter().filter(|f| f.new_issue).count();
        let trouble: BTreeSet<&str> =
            fetched.iter().map(|f| f.trouble.as_str()).filter(|t| !t.is_empty()).collect();
        let mut text = format!("{} places asked, {new} new forecasts", fetched.len());
        if let Some(first) = trouble.first() {
            // Each was logged with its place.
            text += &format!("; {} kinds of trouble, such as: {first}", trouble.len());
        }
        Ok(Done {
            ok: trouble.is_empty(),
            text,
            news: new > 0,
            poke: if new > 0 || awaited { vec![Task::Judge] } else { Vec::new() },
        })
    }

    pub(crate) fn next_due(
        &self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, ServiceError> {
        let mut next = now + TimeDelta::hours(1);
        let Some(client) = &self.client else { return Ok(next) };
        for site in house.store.sites()? {
            next = next.min(due_at(&*house.store, client, &site.id, now)?);
        }
        // A pass in the future was under another clock.
        let last = self.looked_at.filter(|at| *at <= now);
        Ok(last.map_or(next, |last| next.max(last + APART)))
    }
}

/// How many places should have been asked for long ago, as after a start or a sleep of the machine.
///
/// # Errors
/// The store's.
pub(crate) fn overdue(
    store: &dyn AppStore,
    service: &str,
    now: DateTime<Utc>,
) -> Result<usize, ServiceError> {
    let mut overdue = 0;
    for site in store.sites()? {
        let due = fetch_due(store, service, &site.id)?;
        overdue += usize::from(due.is_none_or(|due| now - due > OVERDUE));
    }
    Ok(overdue)
}

fn due_at(
    store: &dyn ForecastStore,
    clients: &Clients,
    site: &SiteId,
    now: DateTime<Utc>,
) -> Result<DateTime<Utc>, ServiceError> {
    let mut next: Option<DateTime<Utc>> = None;
    for client in &clients.0 {
        let due = fetch_due(store, client.service().name(), site)?;
        let due = due.filter(|at| *at <= now + AHEAD_MOST).unwrap_or(now);
        next = Some(next.map_or(due, |earlier| earlier.min(due)));
    }
    Ok(next.unwrap_or(now))
}

/// The places whose time has come, and those that share coordinates with one of them.
fn due_sites(
    store: &dyn ForecastStore,
    clients: &Clients,
    sites: Vec<Site>,
    now: DateTime<Utc>,
) -> Result<Vec<Site>, ServiceError> {
    let mut due = Vec::new();
    for site in &sites {
        if due_at(store, clients, &site.id, now)? <= now {
            due.push((site.latitude, site.longitude));
        }
    }
    Ok(sites.into_iter().filter(|s| due.contains(&(s.latitude, s.longitude))).collect())
}
