//! Kind `blind`: no usable forecast for a place. One alert per place; it closes when data return.

use chrono::{DateTime, Utc};

use super::action::Action;
use super::advice::Act;
use super::closing::CloseReason;
use super::draft::Draft;
use super::worse::hours;
use super::{Alert, Condition, Facts, Flat, Kind, Response, Situation, Standing, Subject};
use crate::domain::risk::Priority;
use crate::domain::weather::ForecastState;
use crate::domain::yard::{Person, Role};

/// Blindness presses on the operator, who can repair it.
const PRIORITY: Priority = Priority::Medium;

pub(super) fn decide(
    situation: &Situation,
    standing: &[Standing],
    now: DateTime<Utc>,
) -> Vec<Action> {
    let blind = situation.forecast == ForecastState::Blind;
    let alert = match &situation.open {
        Some(alert) if alert.closed.is_some() => return Vec::new(),
        Some(alert) => alert.clone(),
        None if !blind => return Vec::new(),
        None => Alert::candidate(
            Kind::Blind,
            Subject::Site(situation.site.id.clone()),
            situation.site.id.clone(),
            situation.episodes_closed.saturating_add(1),
        ),
    };
    let mut draft = Draft::new(situation, None, alert, now);
    let facts = Facts::gather(situation, &[], &[], PRIORITY, now);
    draft.looked = Some(facts.clone());
    match (blind, draft.next.flat()) {
        (true, Flat::Normal | Flat::Returned) => {
            let again = draft.next.flat() == Flat::Returned;
            draft.next.condition = Condition::Active { priority: PRIORITY };
            draft.next.response = Response::Unacknowledged;
            draft.next.returned_at = None;
            draft.next.raised_at.get_or_insert(now);
            draft.log(if again { 12 } else { 1 }, "no usable forecast");
            tell_all(&mut draft, standing, &facts, again);
        }
        // Somebody may have come to stand on our advice since, or had reached their limit of messages.
        (true, Flat::Unacknowledged | Flat::Acknowledged) => {
            tell_all(&mut draft, standing, &facts, false);
        }
        (false, Flat::Unacknowledged | Flat::Acknowledged) => {
            let answered = draft.next.flat() == Flat::Acknowledged;
            draft.tell_closing(&CloseReason::Returned, &[], &facts);
            draft.next.condition = Condition::Normal;
            draft.next.returned_at = Some(now);
            if answered {
                draft.close(CloseReason::Returned);
            }
            draft.log(if answered { 10 } else { 9 }, "a usable forecast again");
        }
        (false, Flat::Returned) => {
            let at = draft.next.returned_at.unwrap_or(now);
            if hours(now - at) >= situation.settings.returned_h {
                draft.close(CloseReason::Returned);
                draft.log(11, "a day after data returned");
            }
        }
        _ => {}
    }
    draft.finish()
}

/// The operator, the manager of the place, and whoever stands on our advice there.
fn tell_all(draft: &mut Draft<'_>, standing: &[Standing], facts: &Facts, again: bool) {
    let situation = draft.situation;
    let untold = |person: &&Person| {
        draft.next.told.get(&person.id).is_none_or(|ledger| !ledger.awaits_closing)
    };
    let (site, runs) = (&situation.site.id, [Role::Operator, Role::Manager]);
    let concerned = |person: &&Person| {
        let counts = || standing.iter().any(|entry| entry.person == person.id);
        person.operates(site) || person.manages(site) || !runs.contains(&person.role) && counts()
    };
    let due: Vec<&Person> = situation
        .people
        .iter()
        .filter(concerned)
        .filter(untold)
        // Whoever keeps this running has to hear of it whatever else they have had today.
        .filter(|person| person.role == Role::Operator || draft.within_limit(person, PRIORITY))
        .collect();
    if due.is_empty() {
        return;
    }
    draft.next_revision();
    draft.next.decided_on = Some(facts.clone());
    for person in due {
        let own = standing.iter().filter(|entry| entry.person == person.id).cloned().collect();
        draft.tell(person, Act::Raise { again }, facts, own);
    }
}
