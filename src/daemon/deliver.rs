//! The loop that carries the outbox out, a batch at a time.

use chrono::{DateTime, TimeDelta, Utc};

use crate::adapters::delivery::Channel;
use crate::app::answers::look_into_inbox;
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::deliver::notes::{WebhookReport, deliver_webhooks};
use crate::app::notify::deliver::{DeliverReport, Limits, deliver_while};
use crate::app::ports::{Courier as _, Endpoints};
use crate::daemon::endpoints::endpoints;
use crate::daemon::task::{Done, ShouldContinue, Task};

/// Bounds of one pass: few enough that other work of the loop is not held up, and the next pass follows at once.
const LIMITS: Limits = Limits { batch: 20, most: 200 };

/// How often it looks into the inbox.
const LOOK_EVERY: TimeDelta = TimeDelta::minutes(1);

/// See the module.
pub struct DeliverLoop {
    channel: Channel,
    looked_at: Option<DateTime<Utc>>,
    endpoints: Option<Endpoints>,
}

impl DeliverLoop {
    pub(crate) const fn new(channel: Channel) -> Self {
        Self { channel, looked_at: None, endpoints: None }
    }

    pub(crate) async fn activate(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
        should_continue: ShouldContinue<'_>,
    ) -> Result<Done, ServiceError> {
        // After a change of the configuration nothing is left behind on the old way. Only the daemon does this: it holds the
        // store, and a single round with a configuration for trials must not carry its letters off.
        let moved = house.store.take_over_letters(self.channel.name(), now)?;
        if moved > 0 {
            tracing::info!(
                "{moved} letters that waited for another way out go by {}",
                self.channel.name()
            );
        }
        let inbox = look_into_inbox(house, now);
        self.looked_at = Some(now);
        let report =
            deliver_while(&*house.store, &mut self.channel, now, &LIMITS, should_continue).await?;
        let notes = self.notes(house, now, should_continue).await?;
        let mut text = format!(
            "{} sent, {} to try again, {} refused for good, {} expired, {} replaced",
            report.sent, report.deferred, report.failed, report.expired, report.superseded
        );
        for words in report
            .relay_trouble
            .iter()
            .chain(&report.rejected)
            .chain(&report.lost)
            .chain(&report.postponed)
        {
            text += &format!("; {words}");
        }
        if notes.sent + notes.deferred + notes.failed > 0 {
            text += &format!(
                "; {} notes to programs sent, {} to try again",
                notes.sent, notes.deferred
            );
        }
        for trouble in &notes.troubles {
            text += &format!("; {trouble}");
        }
        for refused in &report.refused {
            text += &format!("; the address of {} takes no mail", refused.recipient);
        }
        for one in &inbox.taken {
            text += &format!("; inbox: {}", one.words);
        }
        for trouble in &inbox.troubles {
            text += &format!("; {trouble}");
        }
        let answered = inbox.taken.iter().any(|one| one.changed);
        let is_read = inbox.troubles.is_empty();
        let tried = report.sent + report.deferred + report.failed + notes.sent + notes.deferred;
        Ok(Done {
            ok: !report.is_trouble() && is_read && notes.troubles.is_empty(),
            text,
            news: tried > 0 || answered || !is_read,
            poke: if looks_bad_for_somebody(&report) || answered {
                vec![Task::Judge]
            } else {
                Vec::new()
            },
        })
    }

    /// Signed notes to other programs.
    async fn notes(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
        should_continue: ShouldContinue<'_>,
    ) -> Result<WebhookReport, ServiceError> {
        // Also without any: what was left for one that has been taken out leaves the queue.
        let endpoints = self.endpoints.get_or_insert_with(|| endpoints(&house.settings));
        let mut report = deliver_webhooks(&*house.store, endpoints, now, should_continue).await?;
        report.troubles.extend(endpoints.troubles.iter().cloned());
        Ok(report)
    }

    pub(crate) fn next_due(
        &self,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, ServiceError> {
        let due = house.store.next_letter_due(self.channel.name())?;
        let mut next = due.unwrap_or(now + TimeDelta::hours(1));
        if house.settings.mail.inbox.is_some() {
            let looked = self.looked_at.filter(|at| *at <= now);
            next = next.min(looked.map_or(now, |at| at + LOOK_EVERY));
        }
        Ok(next)
    }
}

/// Somebody may not be reached, while others are: the next contact may have to hear of it.
const fn looks_bad_for_somebody(report: &DeliverReport) -> bool {
    !report.refused.is_empty()
        || !report.rejected.is_empty()
        || (report.sent > 0 && report.deferred > 0)
}
