//! How the service itself stands, from the store: its loops, how far each place can be seen, what waits in the outbox.

use chrono::{DateTime, Utc};

use crate::app::assess::AsOf;
use crate::app::assess::outlook::standing_of;
use crate::app::context::{AppContext, ServiceError};
use crate::app::ports::{OutboxState, StoreError};
use crate::domain::yard::Site;
use crate::views::health::{HealthView, LoopLine, OutboxLine, SightLine};
use crate::views::local;
use crate::views::worklist::ForecastLine;

/// The service at an instant by its store; nothing is tried for it.
///
/// # Errors
/// The store's.
pub fn health_view(house: &AppContext, now: DateTime<Utc>) -> Result<HealthView, ServiceError> {
    let places = sights(house, now)?;
    let outbox = Some(outbox(house)?);
    Ok(HealthView { findings: Vec::new(), loops: loops(house)?, places, outbox })
}

fn loops(house: &AppContext) -> Result<Vec<LoopLine>, StoreError> {
    let zone = house.settings.yard.time_zone;
    let lines = house.store.statuses()?.into_iter().map(|status| LoopLine {
        name: status.name,
        ok: status.ok,
        at: local(status.at, zone),
        last_ok: status.last_ok.map(|at| local(at, zone)),
        words: status.text,
    });
    Ok(lines.collect())
}

fn sights(house: &AppContext, now: DateTime<Utc>) -> Result<Vec<SightLine>, ServiceError> {
    let yard = house.yard()?;
    let sight = |site: &Site| {
        let (forecast, state) = standing_of(house, &site.id, AsOf::now(now))?;
        let forecast = ForecastLine::of(forecast.as_deref(), state, now, site.time_zone);
        Ok(SightLine { site: site.id.clone(), forecast })
    };
    yard.sites.values().map(sight).collect()
}

fn outbox(house: &AppContext) -> Result<OutboxLine, StoreError> {
    let zone = house.settings.yard.time_zone;
    let summary = house.store.outbox_summary()?;
    Ok(OutboxLine {
        queued: summary.count(OutboxState::Queued),
        leased: summary.count(OutboxState::Leased),
        deferred: summary.count(OutboxState::Deferred),
        sent: summary.count(OutboxState::Sent),
        failed: summary.count(OutboxState::Failed),
        expired: summary.count(OutboxState::Expired),
        superseded: summary.count(OutboxState::Superseded),
        oldest_waiting: summary.oldest_waiting.map(|at| local(at, zone)),
        next_due: summary.next_due.map(|at| local(at, zone)),
    })
}
