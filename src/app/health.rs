//! How the service itself stands, from the store: its loops, how far each place can be seen, what waits in the outbox.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::app::assess::AsOf;
use crate::app::assess::outlook::{Forecasts, standing_of};
use crate::app::context::{AppContext, ServiceError, YardBook};
use crate::app::ports::{LetterCounts, OutboxState, RunLog, StoreError};
use crate::domain::yard::Site;
use crate::views::health::{HealthView, LoopLine, OutboxLine, SightLine};
use crate::views::local;
use crate::views::worklist::ForecastLine;

/// The service at an instant by its store; nothing is tried for it.
///
/// # Errors
/// The store's.
pub fn health_view(house: &AppContext, now: DateTime<Utc>) -> Result<HealthView, ServiceError> {
    let (store, zone) = (&*house.store, house.settings.yard.time_zone);
    Ok(HealthView {
        findings: Vec::new(),
        loops: loops(store, zone)?,
        places: sights(house.forecasts(), &house.yard()?, now)?,
        outbox: Some(outbox(store, zone)?),
    })
}

fn loops(store: &dyn RunLog, zone: Tz) -> Result<Vec<LoopLine>, StoreError> {
    let lines = store.statuses()?.into_iter().map(|status| LoopLine {
        name: status.name,
        ok: status.ok,
        at: local(status.at, zone),
        last_ok: status.last_ok.map(|at| local(at, zone)),
        words: status.text,
    });
    Ok(lines.collect())
}

fn sights(
    forecasts: Forecasts<'_>,
    yard: &YardBook,
    now: DateTime<Utc>,
) -> Result<Vec<SightLine>, ServiceError> {
    let sight = |site: &Site| {
        let (forecast, state) = standing_of(forecasts, &site.id, AsOf::now(now))?;
        let forecast = ForecastLine::of(forecast.as_deref(), state, now, site.time_zone);
        Ok(SightLine { site: site.id.clone(), forecast })
    };
    yard.sites.values().map(sight).collect()
}

fn outbox(store: &dyn LetterCounts, zone: Tz) -> Result<OutboxLine, StoreError> {
    let summary = store.outbox_summary()?;
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
