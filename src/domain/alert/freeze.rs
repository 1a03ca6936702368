//! Kind `freeze`: one episode per boat, whose members are the circuits at or over their on-threshold.
//!
//! Confinement is not looked at here: a circuit that cannot break has a row of priority `notice`, which never raises.
//! An episode is a spell of cold: it ends when the danger has gone for good ([`AlertSettings::off_delay_h`]), when the record says
//! done, or when everything in danger has been past its limit for some hours, since nothing is left to prevent then.
//!
//! [`AlertSettings::off_delay_h`]: super::AlertSettings::off_delay_h

mod look;
mod tell;

use chrono::{DateTime, Utc};

use super::action::Action;
use super::closing::CloseReason;
use super::draft::Draft;
use super::known::{keep_frozen, note_frozen, note_told};
use super::worse::hours;
use super::{
    Alert, Annunciation, Condition, Facts, FirstSeen, Flat, Kind, Listed, Member, Response,
    Situation, Subject, System,
};
use crate::domain::boat::{Boat, BoatState};
use crate::domain::risk::CircuitRisk;
use look::{View, look};
use tell::{escalate, is_news_to_anybody, lapse, tell_changes};

pub(super) fn decide(
    situation: &Situation,
    (boat, state): (&Boat, &BoatState),
    rows: &[CircuitRisk],
    now: DateTime<Utc>,
) -> Vec<Action> {
    let known = situation.open.as_ref().map_or(&situation.known, |alert| &alert.known);
    let mut rows = rows.to_vec();
    keep_frozen(&mut rows, known, (now, situation.looked_back_h));
    let view = look(situation, state, &rows);
    let alert = match &situation.open {
        Some(alert) if alert.closed.is_some() => return Vec::new(),
        Some(alert) => alert.clone(),
        None if view.active.is_empty() || situation.issued_at.is_none() => {
            return Vec::new();
        }
        None => Alert {
            known: situation.known.clone(),
            ..Alert::candidate(
                Kind::Freeze,
                Subject::Boat(boat.id.clone()),
                state.site.clone(),
                situation.episodes_closed.saturating_add(1),
            )
        },
    };
    let mut draft = Draft::new(situation, Some(boat.care), alert, now);
    if draft.look_at_input() {
        return if situation.open.is_some() { draft.finish() } else { Vec::new() };
    }
    draft.next.site = state.site.clone();
    let facts = Facts::gather(situation, &view.active, &view.near, view.priority, now);
    draft.looked = Some(facts.clone());
    if let Some(why) = draft.next.cancel.take() {
        take_back(&mut draft, &view, &facts, why);
        return draft.finish();
    }
    match draft.next.flat() {
        Flat::OutOfService => out_of_service(&mut draft, &view, &facts),
        Flat::Normal => rise(&mut draft, &view, &facts, boat, 1),
        Flat::Unacknowledged | Flat::Acknowledged => {
            should_continue(&mut draft, &view, &facts, boat)
        }
        Flat::Returned => after_return(&mut draft, &view, &facts, boat),
        Flat::Shelved => on_the_shelf(&mut draft, &view, &facts, boat),
        Flat::SuppressedByDesign => suppressed(&mut draft, &view, &facts, boat),
        Flat::Closed => {}
    }
    list(&mut draft, &view, &facts);
    draft.finish()
}

/// The rule from where a boat stands: in a heated place whose heat is on, with nothing over its limit there. It hangs on power,
/// and that is said.
const HEATED: &str = "heated_storage";

/// Row 17: brought into the warm, with water still in her. Whoever counts on the alert hears why it is no longer followed.
fn suppress(draft: &mut Draft<'_>, view: &View, facts: &Facts) -> bool {
    if !draft.situation.heated || !view.active.is_empty() {
        return false;
    }
    let why = "she stands in heated storage now, and the heat is on by the record".to_owned();
    draft.tell_closing(&CloseReason::NotFollowed { why, until: None }, &view.records, facts);
    draft.next.annunciation = Annunciation::SuppressedByDesign { rule: HEATED.to_owned() };
    draft.log(17, "stands in heated storage with the heat on, and nothing is over its limit there");
    true
}

/// Row 18: out of the warm, or in danger there: followed again. Row 13 where the record says done.
fn suppressed(draft: &mut Draft<'_>, view: &View, facts: &Facts, boat: &Boat) {
    if view.done && view.below {
        return finish_done(draft, view, facts);
    }
    if view.active.is_empty() {
        if !draft.situation.heated {
            draft.close(CloseReason::Returned);
            draft.log(18, "no longer in heated storage, and nothing is over its limit");
        }
        return;
    }
    draft.next.annunciation = Annunciation::Enabled;
    draft.next.condition = Condition::Active { priority: view.priority };
    draft.next.response = Response::Unacknowledged;
    (draft.next.falling, draft.next.returned_at) = (None, None);
    // What was known before she stood in the warm has been called off.
    draft.next.known.clear();
    join(draft, view);
    draft.log(18, "heated storage holds no longer: over the limit");
    tell_changes(draft, facts, boat, true);
}

/// Out of service: whoever counts on it hears so once; on the day of the review it is followed again.
fn out_of_service(draft: &mut Draft<'_>, view: &View, facts: &Facts) {
    let Annunciation::OutOfService { review_on, reason, .. } = draft.next.annunciation.clone()
    else {
        return;
    };
    let closing = CloseReason::NotFollowed { why: reason, until: Some(review_on) };
    draft.tell_closing(&closing, &view.records, facts);
    if draft.now >= review_on {
        draft.next = draft.next.back_in_service();
        draft.next.known.clear();
        draft.log(20, "the day of the review has come");
    }
}

/// Row 22: issued in error. Where the record still says the same it is news again.
fn take_back(draft: &mut Draft<'_>, view: &View, facts: &Facts, why: String) {
    let reason = CloseReason::Cancelled { why };
    draft.tell_closing(&reason, &view.records, facts);
    draft.next.annunciation = Annunciation::Enabled;
    draft.next.known.clear();
    draft.close(reason);
    draft.log(22, "issued in error");
}

/// On-delay: two issues apart, or at once where time is short.
fn rise(draft: &mut Draft<'_>, view: &View, facts: &Facts, boat: &Boat, row: u8) {
    if view.active.is_empty() {
        draft.next.rising = None;
        return;
    }
    let settings = &draft.situation.settings;
    let Some(issue) = draft.situation.issued_at else { return };
    let first = *draft.next.rising.get_or_insert(FirstSeen { at: draft.now, issue });
    let short = view.active.iter().any(|row| {
        row.frozen_now
            || row
                .latest_start
                .or(row.first_danger)
                .is_none_or(|start| hours(start - draft.now) < settings.waive_slack_h)
    });
    if !short && hours(issue - first.issue) < settings.on_delay_issue_gap_h {
        return;
    }
    // Everybody knows: it stands on the worklist, and nobody is told a second time.
    if !is_news_to_anybody(draft, view, boat) {
        draft.next.rising = None;
        return;
    }
    draft.next.rising = None;
    draft.next.falling = None;
    draft.next.frozen_since = None;
    draft.next.returned_at = None;
    draft.next.condition = Condition::Active { priority: view.priority };
    draft.next.response = Response::Unacknowledged;
    draft.next.raised_at.get_or_insert(draft.now);
    join(draft, view);
    draft.log(
        row,
        if short { "over the limit, and time is short" } else { "over the limit in two issues" },
    );
    tell_changes(draft, facts, boat, row == 12);
}

/// Raised: end it, or say what has become worse.
fn should_continue(draft: &mut Draft<'_>, view: &View, facts: &Facts, boat: &Boat) {
    if view.done && view.below {
        return finish_done(draft, view, facts);
    }
    if suppress(draft, view, facts) {
        return;
    }
    join(draft, view);
    if view.below && view.milder {
        let Some(issue) = draft.situation.issued_at else { return };
        let first = *draft.next.falling.get_or_insert(FirstSeen { at: draft.now, issue });
        let long = hours(draft.now - first.at) >= draft.situation.settings.off_delay_h;
        if long && issue > first.issue {
            finish_returned(draft, view, facts);
        }
        return;
    }
    draft.next.falling = None;
    if view.active.is_empty() {
        return;
    }
    draft.next.condition = Condition::Active { priority: view.priority };
    tell_changes(draft, facts, boat, false);
    if view.all_frozen && view.near.iter().all(|row| row.frozen_now || row.chance_limit < 0.5) {
        let since = *draft.next.frozen_since.get_or_insert(draft.now);
        if hours(draft.now - since) >= draft.situation.settings.passed_after_h {
            finish_passed(draft, view, facts);
        }
        return;
    }
    draft.next.frozen_since = None;
    lapse(draft, facts);
    escalate(draft, facts);
}

/// Put aside by a person: the record ends it (row 13), what is worse than was told takes it off (16), so does time (15).
fn on_the_shelf(draft: &mut Draft<'_>, view: &View, facts: &Facts, boat: &Boat) {
    if view.done && view.below {
        return finish_done(draft, view, facts);
    }
    if suppress(draft, view, facts) {
        return;
    }
    join(draft, view);
    let Annunciation::Shelved { until, .. } = draft.next.annunciation.clone() else { return };
    let over = draft.now >= until;
    if view.below && view.milder {
        if over {
            draft.next.annunciation = Annunciation::Enabled;
            draft.tell_closing(&CloseReason::Returned, &view.records, facts);
            draft.close(CloseReason::Returned);
            draft.log(15, "the shelf time is over, and so is the danger");
        }
        return;
    }
    if view.active.is_empty() {
        return;
    }
    let before = draft.next.revision;
    draft.next.annunciation = Annunciation::Enabled;
    draft.next.response = Response::Unacknowledged;
    let shelved = draft.mark();
    tell_changes(draft, facts, boat, false);
    if draft.next.revision > before {
        draft.relabel(shelved, 16, "worse than was told: off the shelf");
    } else if over {
        draft.log(15, "the shelf time is over");
        tell::still_open(draft, facts);
    } else {
        draft.undo(shelved);
    }
}

/// What a manager reads on the worklist of this round.
fn list(draft: &mut Draft<'_>, view: &View, facts: &Facts) {
    if draft.situation.worklist.is_some_and(|worklist| worklist.in_this_round) {
        draft.next.listed = view.active.first().map(|row| Listed {
            at: draft.now,
            latest_start: facts.latest_start,
            consequence: view
                .active
                .iter()
                .map(|row| row.consequence)
                .max()
                .unwrap_or(row.consequence),
        });
    }
}

/// Returned, not yet closed: a day in which the same id may be raised again.
fn after_return(draft: &mut Draft<'_>, view: &View, facts: &Facts, boat: &Boat) {
    rise(draft, view, facts, boat, 12);
    let over = draft
        .next
        .returned_at
        .is_some_and(|at| hours(draft.now - at) >= draft.situation.settings.returned_h);
    if over && draft.next.rising.is_none() {
        draft.close(CloseReason::Returned);
        draft.log(11, "a day after the all-clear");
    }
}

fn finish_done(draft: &mut Draft<'_>, view: &View, facts: &Facts) {
    draft.tell_closing(&CloseReason::Done, &view.records, facts);
    draft.close(CloseReason::Done);
    draft.log(13, "the record says done for everything that was named");
}

fn finish_returned(draft: &mut Draft<'_>, view: &View, facts: &Facts) {
    let answered = matches!(draft.next.response, Response::Acknowledged { .. });
    draft.tell_closing(&CloseReason::Returned, &view.records, facts);
    draft.next.condition = Condition::Normal;
    draft.next.returned_at = Some(draft.now);
    draft.next.falling = None;
    if answered {
        draft.close(CloseReason::Returned);
    }
    draft.log(if answered { 10 } else { 9 }, "below the off-threshold through the off-delay");
}

/// Row 25: everything in danger has been past its limit for some hours. One closing word says what that means; from then
/// on those parts stand on the worklist, and are news only when the record changes.
fn finish_passed(draft: &mut Draft<'_>, view: &View, facts: &Facts) {
    let answered = matches!(draft.next.response, Response::Acknowledged { .. });
    let waiting = draft.awaiting();
    let look = draft.look();
    for person in waiting {
        // The closing letter names whatever has frozen meanwhile as well.
        note_told(&mut draft.next.known, &person, &view.active, look);
    }
    draft.tell_closing(&CloseReason::Passed, &view.records, facts);
    draft.next.condition = Condition::Normal;
    draft.next.returned_at = Some(draft.now);
    draft.next.frozen_since = None;
    if answered {
        draft.close(CloseReason::Passed);
    }
    draft.log(25, "everything in danger has been past its limit for hours");
}

fn join(draft: &mut Draft<'_>, view: &View) {
    note_frozen(&mut draft.next.known, &view.active, draft.now);
    note_frozen(&mut draft.next.known, &view.near, draft.now);
    if let (Some(low), false) = (draft.situation.low, view.active.is_empty()) {
        let mildest = draft.next.mildest_active_low_c.unwrap_or(low.median_c);
        draft.next.mildest_active_low_c = Some(mildest.max(low.median_c));
    }
    for row in &view.active {
        let system = System::of(row);
        if draft.next.members.iter().all(|member| member.system != system) {
            let since = view.records.iter().find(|line| line.system == system);
            draft.next.members.push(Member {
                system,
                holds: row.holds,
                since: since.and_then(|line| line.since),
                joined: draft.now,
            });
        }
    }
}
