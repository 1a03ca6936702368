//! Kinds `freeze` and `blind`: one situation for each boat and for each place.

use chrono::{DateTime, TimeDelta, Utc};

use super::gathering::Gathering;
use super::open_alerts::last_closed;
use crate::app::assess::{AssessedBoat, AssessedPlace};
use crate::app::error::ServiceError;
use crate::app::settings::Yard;
use crate::app::settings::schedule::Schedule;
use crate::domain::alert::{
    Decision, DecisionInput, Kind, Situation, Standing, Subject, Target, WorklistTimes, decide,
};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::risk::Priority;
use crate::domain::yard::{Person, SiteKind, recipients};

/// Messages of this long ago no longer count against a person's daily limit.
const RECENT: TimeDelta = TimeDelta::hours(24);

/// Decides every boat of the assessment.
///
/// # Errors
/// The store's, or an alert document that cannot be read.
pub(super) fn freezes(
    gathering: &Gathering<'_>,
    decided: &mut Decision,
) -> Result<(), ServiceError> {
    let ground = Ground::read(gathering)?;
    for view in &gathering.seen.boats {
        let Some(place) = gathering.seen.places.get(&view.state.site) else { continue };
        let subject = Subject::Boat(view.boat.id.clone());
        let people = recipients::of_freeze(&gathering.seen.yard.people, &view.boat, &place.site.id);
        let people = people.into_iter().cloned().collect();
        let target = Target::Boat {
            boat: Box::new(view.boat.clone()),
            state: Box::new(view.state.clone()),
            rows: view.rows.clone(),
        };
        let mut situation = ground.situation(place, (Kind::Freeze, &subject), target, people);
        // Only who might be told anew needs what was told before.
        let pressing = view.rows.iter().any(|row| row.priority > Priority::Notice);
        if situation.open.is_none() && pressing {
            let before = last_closed(&*gathering.app.store, Kind::Freeze, &view.boat.id)?;
            situation.known = before.map(|alert| alert.known).unwrap_or_default();
        }
        decided.extend(decide(DecisionInput::Outlook(&situation), gathering.now));
    }
    Ok(())
}

/// Decides every place of the assessment.
///
/// # Errors
/// The store's, or an alert document that cannot be read.
pub(super) fn blindness(
    gathering: &Gathering<'_>,
    decided: &mut Decision,
) -> Result<(), ServiceError> {
    let ground = Ground::read(gathering)?;
    for place in gathering.seen.places.values() {
        let subject = Subject::Site(place.site.id.clone());
        let standing = standing_at(gathering, &place.site.id);
        let counting = standing.iter().map(|one| &one.person);
        let people =
            recipients::of_blindness(&gathering.seen.yard.people, &place.site.id, counting);
        let people = people.into_iter().cloned().collect();
        let target = Target::Site { standing };
        let situation = ground.situation(place, (Kind::Blind, &subject), target, people);
        decided.extend(decide(DecisionInput::Outlook(&situation), gathering.now));
    }
    Ok(())
}

/// What every situation of a round has in common.
struct Ground<'a> {
    gathering: &'a Gathering<'a>,
    recent: Vec<(PersonId, String, DateTime<Utc>)>,
    worklist: Option<WorklistTimes>,
}

impl<'a> Ground<'a> {
    fn read(gathering: &'a Gathering<'a>) -> Result<Self, ServiceError> {
        let recent = gathering.app.store.letters_since(gathering.now - RECENT)?;
        let worklist =
            worklist_times(&gathering.app.settings.yard, gathering.worklist_due, gathering.now)?;
        Ok(Self { gathering, recent, worklist })
    }

    fn situation(
        &self,
        place: &AssessedPlace,
        (kind, subject): (Kind, &Subject),
        target: Target,
        people: Vec<Person>,
    ) -> Situation {
        let Gathering { app, seen, open, .. } = self.gathering;
        let episodes_closed = open.closed(kind, subject.as_str());
        let open = open.of(kind, subject.as_str()).cloned();
        let own = open.as_ref().map(|alert| alert.id.to_string());
        let others = self.recent.iter().filter(|(_, alert, _)| own.as_ref() != Some(alert));
        let recent = others.map(|(person, _, at)| (person.clone(), *at)).collect();
        Situation {
            heated: is_heated(place, &target),
            target,
            site: place.site.clone(),
            forecast: place.state,
            service: place.forecast.as_ref().map(|f| f.service.clone()).unwrap_or_default(),
            issued_at: place.forecast.as_ref().map(|f| f.issued_at),
            looked_back_h: f64::from(app.settings.judge.past_days) * 24.0,
            until: seen.until,
            low: place.low,
            open,
            known: Vec::new(),
            worklist: self.worklist,
            episodes_closed,
            people,
            recent,
            working_hours: app.settings.yard.working_hours(),
            settings: app.settings.alert.clone(),
        }
    }
}

/// Does the boat stand on land in a place whose heat is on by the record?
fn is_heated(place: &AssessedPlace, target: &Target) -> bool {
    match target {
        Target::Boat { state, .. } => {
            let warm = place.weather.as_ref().is_some_and(|weather| weather.heat.on());
            !state.afloat && warm && place.site.kind == SiteKind::IndoorHeated
        }
        Target::Site { .. } => false,
    }
}

/// When the managers read the worklist, if anybody gets one.
fn worklist_times(
    yard: &Yard,
    in_this_round: bool,
    now: DateTime<Utc>,
) -> Result<Option<WorklistTimes>, ServiceError> {
    let schedule = Schedule::parse(&yard.worklist)
        .map_err(|why| ServiceError::Schedule { key: "yard.worklist", why })?;
    let next = schedule.next_after(now, yard.time_zone);
    Ok(next.map(|next| WorklistTimes { in_this_round, next }))
}

/// The advice that stands for the boats of a place.
fn standing_at(gathering: &Gathering<'_>, site: &SiteId) -> Vec<Standing> {
    let mut standing = Vec::new();
    let boats: &[AssessedBoat] = &gathering.seen.boats;
    let raised = gathering.open.of_kind(Kind::Freeze);
    for alert in raised.filter(|alert| alert.site == *site && alert.is_raised()) {
        let Some(id) = alert.subject.boat() else { continue };
        let Some(view) = boats.iter().find(|view| view.boat.id == *id) else { continue };
        standing.extend(alert.standing(id, &view.boat.name));
    }
    standing
}
