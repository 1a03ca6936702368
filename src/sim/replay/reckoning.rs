//! Counts a winter as it is played: who got what when, what froze, and whether its owner had been told.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use super::fleet::Fleet;
use super::score::{Frozen, Message, Played};
use crate::app::assess::Assessment;
use crate::app::context::{AppContext, ServiceError};
use crate::app::ports::{AlertFilter, Posted};
use crate::domain::alert::{Alert, AlertId, Condition, Kind, System};
use crate::domain::boat::{Boat, BoatId, PersonId};
use crate::domain::risk::{CircuitRisk, Consequence, Priority};

/// Learnt of so long ago at most and frozen already: nobody could have said it before.
const NEWS: TimeDelta = TimeDelta::hours(36);
/// Shorter episodes are fleeting.
const FLEETING: TimeDelta = TimeDelta::hours(3);

/// A boat's part as its record stands.
type Part = (BoatId, System, Option<DateTime<Utc>>);

/// The count so far.
pub(super) struct Reckoning<'a> {
    app: &'a AppContext,
    fleet: &'a Fleet,
    played: Played,
    frozen: BTreeSet<Part>,
    /// Who awaits the end of what.
    told: BTreeSet<(AlertId, PersonId)>,
}

impl<'a> Reckoning<'a> {
    pub(super) fn new(app: &'a AppContext, fleet: &'a Fleet) -> Self {
        Self {
            app,
            fleet,
            played: Played::default(),
            frozen: BTreeSet::new(),
            told: BTreeSet::new(),
        }
    }

    /// One look: the letters that left, and what was seen.
    pub(super) fn look(
        &mut self,
        letters: &[Posted],
        seen: Option<&Assessment>,
        now: DateTime<Utc>,
    ) -> Result<(), ServiceError> {
        self.played.rounds += 1;
        for letter in letters {
            self.read(letter)?;
        }
        for view in seen.into_iter().flat_map(|seen| &seen.boats) {
            self.froze(&view.boat, &view.rows, now)?;
        }
        Ok(())
    }

    fn read(&mut self, letter: &Posted) -> Result<(), ServiceError> {
        let row = &letter.row;
        let alerts = self.told_of(letter)?;
        for alert in alerts.iter().filter(|alert| alert.kind == Kind::Freeze) {
            let Some(boat) = alert.subject.boat() else { continue };
            let owned = self.fleet.boats.iter().any(|(other, _)| {
                other.id == *boat && other.owner.as_ref() == Some(&row.recipient)
            });
            let thread = (alert.id.clone(), row.recipient.clone());
            // What follows no word, or one that ended it, is a raise.
            let raised =
                if row.closing { !self.told.remove(&thread) } else { self.told.insert(thread) };
            if owned && raised && !row.closing {
                self.played.raised.entry(boat.clone()).or_default().push(row.queued_at);
            }
        }
        let priority = |alert: &Alert| match (&alert.decided_on, alert.condition) {
            (Some(facts), _) => facts.priority,
            (None, Condition::Active { priority }) => priority,
            (None, Condition::Normal) => Priority::Low,
        };
        let most = alerts.iter().map(priority).max().filter(|_| !row.closing);
        self.played.messages.push(Message {
            at: row.due_at.max(row.queued_at),
            person: row.recipient.clone(),
            kind: row.kind.clone(),
            alerts: alerts
                .iter()
                .map(|alert| (alert.id.to_string(), revision(alert, letter)))
                .collect(),
            subject: row.subject.clone(),
            closing: row.closing,
            priority: most.unwrap_or(Priority::Low),
        });
        Ok(())
    }

    /// The alerts that a letter tells of: its own, or those of which the reader was told in the same second.
    fn told_of(&self, letter: &Posted) -> Result<Vec<Alert>, ServiceError> {
        let row = &letter.row;
        if let Some(record) = self.app.store.alert(&row.alert)? {
            return Ok(vec![record.alert()?]);
        }
        if !row.alert.starts_with("rollup-") {
            return Ok(Vec::new());
        }
        let mut all = self.app.store.alerts(&AlertFilter::default())?;
        // Only these are put into one letter with others of the same second.
        all.retain(|alert| {
            let rolled = matches!(alert.kind, Kind::Freeze | Kind::Blind);
            let told = alert.told.get(&row.recipient);
            rolled && told.is_some_and(|of| of.sent.iter().any(|sent| sent.at == row.queued_at))
        });
        Ok(all)
    }

    /// What has newly gone past its limit: was the owner told in time?
    fn froze(
        &mut self,
        boat: &Boat,
        rows: &[CircuitRisk],
        now: DateTime<Utc>,
    ) -> Result<(), ServiceError> {
        for row in rows.iter().filter(|row| row.frozen_now && row.priority > Priority::Notice) {
            let part = (boat.id.clone(), System::of(row), row.since);
            let severe = row.consequence == Consequence::Severe;
            if !severe || !self.frozen.insert(part) || self.is_news(boat, now) {
                continue;
            }
            let frozen = Frozen {
                at: now,
                boat: boat.id.clone(),
                circuit: row.circuit.clone(),
                told: self.owner_told(boat, row)?,
            };
            if let Some(count) = self.played.froze.get_mut(frozen.slot()) {
                *count += 1;
            }
            self.played.frozen.push(frozen);
        }
        Ok(())
    }

    fn is_news(&self, boat: &Boat, now: DateTime<Utc>) -> bool {
        let log = self.fleet.boats.iter().find(|(other, _)| other.id == boat.id);
        log.is_some_and(|(_, events)| {
            let recent = |at: DateTime<Utc>| at <= now && now - at < NEWS;
            events.iter().any(|event| recent(event.recorded_at))
        })
    }

    /// When the owner was first told of this part in its present state.
    fn owner_told(
        &self,
        boat: &Boat,
        row: &CircuitRisk,
    ) -> Result<Option<DateTime<Utc>>, ServiceError> {
        let filter = AlertFilter {
            kind: Some(Kind::Freeze.as_str().to_owned()),
            boat: Some(boat.id.clone()),
            ..AlertFilter::default()
        };
        let alerts = self.app.store.alerts(&filter)?;
        let known = alerts.iter().flat_map(|alert| &alert.known);
        let told = known
            .filter(|known| Some(&known.person) == boat.owner.as_ref())
            .filter(|known| known.system == System::of(row) && known.since == row.since);
        Ok(told.map(|known| known.told_at).min())
    }

    /// The episodes, now that all is over.
    pub(super) fn finish(mut self) -> Result<Played, ServiceError> {
        let filter =
            AlertFilter { kind: Some(Kind::Freeze.as_str().to_owned()), ..AlertFilter::default() };
        self.played.alerts = self.app.store.alerts(&filter)?;
        let alerts = std::mem::take(&mut self.played.alerts);
        for alert in alerts.iter().filter(|alert| alert.raised_at.is_some()) {
            self.episode(alert);
        }
        self.played.alerts = alerts;
        Ok(self.played)
    }

    fn episode(&mut self, alert: &Alert) {
        self.played.episodes += 1;
        let froze = alert.members.iter().any(|member| {
            self.frozen.iter().any(|(boat, system, _)| {
                Some(boat) == alert.subject.boat() && *system == member.system
            })
        });
        self.played.false_alarms += usize::from(!froze);
        let first = alert.told.values().filter_map(|of| of.sent.first()).map(|sent| sent.at).min();
        let told = alert.told.values().map(|of| of.worst.priority).max();
        let danger = alert.decided_on.as_ref().and_then(|facts| facts.first_danger);
        if let (Some(first), Some(told), Some(danger)) = (first, told, danger)
            && told >= Priority::Medium
        {
            self.played.leads_h.push((danger - first).as_seconds_f64() / 3600.0);
        }
        let ends = alert.closed.as_ref().map(|closing| closing.at).zip(alert.raised_at);
        self.played.fleeting +=
            usize::from(ends.is_some_and(|(end, start)| end - start < FLEETING));
    }
}

/// The revision that a letter told of: the alert may have moved on while it waited.
fn revision(alert: &Alert, letter: &Posted) -> u32 {
    let told = alert.told.get(&letter.row.recipient);
    let sent = told.into_iter().flat_map(|of| &of.sent);
    let told =
        sent.filter(|sent| sent.at == letter.row.queued_at).map(|sent| sent.revision).next_back();
    told.unwrap_or(letter.row.revision)
}
