//! Kind `freeze`: one episode per boat, whose members are the circuits at or over their on-threshold.
//!
//! Confinement is not looked at here: a circuit that cannot break has a row of priority `notice`, which never raises.

use chrono::{DateTime, Utc};

use super::decide::{Act, CloseReason, Decision, Draft, RecordLine};
use super::worse::{Worse, hours, worse_than_told};
use super::{
    Alert, AlertSettings, Condition, Facts, FirstSeen, Flat, Kind, Ledger, Member, Response,
    Situation, Subject, System, is_wet,
};
use crate::domain::boat::{Boat, BoatState, CircuitState};
use crate::domain::risk::{CircuitRisk, Consequence, Priority};
use crate::domain::yard::{Person, Role};

/// What the rows come to.
struct View {
    /// Over their threshold, the leading one first.
    active: Vec<CircuitRisk>,
    /// Between off and on.
    near: Vec<CircuitRisk>,
    priority: Priority,
    /// Everything that has belonged to the episode is below its off-threshold, by the rows.
    below: bool,
    /// ... and the coming low is milder than the limit by the deadband.
    milder: bool,
    /// Every member's record now says that it holds nothing that can freeze and break it.
    done: bool,
    records: Vec<RecordLine>,
}

pub(super) fn decide(
    situation: &Situation,
    boat: &Boat,
    state: &BoatState,
    rows: &[CircuitRisk],
    now: DateTime<Utc>,
) -> Decision {
    let view = look(situation, state, rows);
    let alert = match &situation.open {
        Some(alert) if alert.closed.is_some() => return Decision::default(),
        Some(alert) => alert.clone(),
        None if view.active.is_empty() || situation.issued_at.is_none() => {
            return Decision::default();
        }
        None => Alert::candidate(
            Kind::Freeze,
            Subject::Boat(boat.id.clone()),
            state.site.clone(),
            situation.episodes_closed.saturating_add(1),
        ),
    };
    let mut draft = Draft::new(situation, Some(boat.care), alert, now);
    if draft.look_at_input() {
        return if situation.open.is_some() { draft.finish() } else { Decision::default() };
    }
    draft.next.site = state.site.clone();
    let facts = Facts::gather(situation, &view.active, &view.near, view.priority, now);
    match draft.next.flat() {
        Flat::Normal => rise(&mut draft, &view, &facts, boat, 1),
        Flat::Unacknowledged | Flat::Acknowledged => go_on(&mut draft, &view, &facts, boat),
        Flat::Returned => after_return(&mut draft, &view, &facts, boat),
        // Put aside by a person or a rule: only the record ends it (row 13). The rest of their rows is not in force.
        Flat::Shelved | Flat::SuppressedByDesign if view.done && view.below => {
            finish_done(&mut draft, &view, &facts);
        }
        _ => {}
    }
    draft.finish()
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
    draft.next.rising = None;
    draft.next.falling = None;
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
fn go_on(draft: &mut Draft<'_>, view: &View, facts: &Facts, boat: &Boat) {
    if view.done && view.below {
        return finish_done(draft, view, facts);
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
    if !view.active.is_empty() {
        draft.next.condition = Condition::Active { priority: view.priority };
        tell_changes(draft, facts, boat, false);
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
    draft.log(if answered { 10 } else { 9 }, "below the off-threshold in two issues and 12 hours");
}

/// Tells whoever has not been told, and whoever it has become worse for.
fn tell_changes(draft: &mut Draft<'_>, facts: &Facts, boat: &Boat, again: bool) {
    let situation = draft.situation;
    let zone = situation.site.time_zone;
    let mut due: Vec<(&Person, Act)> = Vec::new();
    for person in situation.people.iter().filter(|person| answers_for(person, boat, situation)) {
        let act = match draft.next.told.get(&person.id) {
            Some(ledger) if ledger.awaits_closing => {
                let worse = worse_than_told(facts, ledger, &situation.settings, zone);
                let nothing_new = worse.is_empty() && !eased_enough(draft, facts, person);
                if nothing_new || is_too_soon(facts, ledger, draft) {
                    continue;
                }
                Act::Update { worse }
            }
            _ if is_worklist_only(person, facts.priority, &situation.settings) => continue,
            _ => Act::Raise { again },
        };
        let first_word_in_a_hurry = matches!(act, Act::Raise { .. }) && is_soon(facts, situation);
        if first_word_in_a_hurry || draft.within_limit(person, facts.priority) {
            due.push((person, act));
        }
    }
    if due.is_empty() {
        return;
    }
    draft.next_revision();
    draft.next.decided_on = Some(facts.clone());
    let worsened = due.iter().find_map(|(_, act)| match act {
        Act::Update { worse } => Some(worse.clone()),
        _ => None,
    });
    if let Some(worse) = worsened {
        let eased = worse.is_empty();
        if eased {
            draft.next.eased_updates = draft.next.eased_updates.saturating_add(1);
        } else {
            draft.next.response = Response::Unacknowledged;
        }
        draft.log(if eased { 7 } else { 6 }, &reason(&worse));
    }
    for (person, act) in due {
        draft.tell(person, act, facts, Vec::new());
    }
}

/// Too little time to hold the first word back for the sake of a limit: an owner of three boats needs all three.
fn is_soon(facts: &Facts, situation: &Situation) -> bool {
    let start = facts.latest_start.or(facts.first_danger);
    start.is_none_or(|start| hours(start - facts.at) < situation.settings.waive_slack_h)
}

/// Too soon after the last message: what is still worse then is told then. Becoming high priority does not wait.
fn is_too_soon(facts: &Facts, ledger: &Ledger, draft: &Draft<'_>) -> bool {
    let newly_high = facts.priority == Priority::High && ledger.worst.priority < Priority::High;
    let gap_h = draft.situation.settings.update_gap_h;
    !newly_high && hours(draft.now - ledger.last.at) < gap_h
}

/// What a manager reads on the worklist and is not interrupted for.
fn is_worklist_only(person: &Person, priority: Priority, settings: &AlertSettings) -> bool {
    person.role == Role::Manager && priority < settings.manager_from
}

/// An update that is no worsening: none by default, and only where what to do has changed.
fn eased_enough(draft: &Draft<'_>, facts: &Facts, person: &Person) -> bool {
    let settings = &draft.situation.settings;
    draft.next.told.get(&person.id).is_some_and(|ledger| {
        draft.next.eased_updates < settings.eased_updates
            && facts.lead().is_some_and(|row| row.action != ledger.last.action)
            && hours(draft.now - ledger.last.at) >= settings.eased_gap_h
    })
}

fn reason(worse: &[Worse]) -> String {
    let words: Vec<&str> = worse
        .iter()
        .map(|worse| match worse {
            Worse::Priority { .. } => "more pressing",
            Worse::LatestStart { .. } => "less time",
            Worse::Low { .. } => "colder",
            Worse::Chance { .. } => "likelier",
            Worse::Systems { .. } => "more of the boat",
        })
        .collect();
    if words.is_empty() { "what to do has changed".to_owned() } else { words.join(", ") }
}

/// The owner, and the manager of the place where the boat stands.
fn answers_for(person: &Person, boat: &Boat, situation: &Situation) -> bool {
    let manages = person.role == Role::Manager && person.sites.contains(&situation.site.id);
    manages || boat.owner.as_ref() == Some(&person.id)
}

fn join(draft: &mut Draft<'_>, view: &View) {
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

fn look(situation: &Situation, state: &BoatState, rows: &[CircuitRisk]) -> View {
    let settings = &situation.settings;
    let (mut active, mut near) = (Vec::new(), Vec::new());
    for row in rows.iter().filter(|row| row.priority > Priority::Notice) {
        if is_over(row, settings) {
            active.push(row.clone());
        } else if !is_below(row, settings) {
            near.push(row.clone());
        }
    }
    active.sort_by(|a, b| lead_order(a).cmp(&lead_order(b)).then_with(|| likelier(a, b)));
    near.sort_by(|a, b| lead_order(a).cmp(&lead_order(b)).then_with(|| likelier(a, b)));
    let members = situation.open.as_ref().map_or(&[][..], |alert| &alert.members);
    let row_of = |system: &System| rows.iter().find(|row| System::of(row) == *system);
    let below = active.is_empty()
        && members.iter().all(|member| match row_of(&member.system) {
            Some(row) => is_below(row, settings),
            None => record_of(state, &member.system).is_some_and(|now| !is_wet(now.holds)),
        });
    let done = !members.is_empty()
        && members.iter().all(|member| {
            record_of(state, &member.system).is_some_and(|now| {
                !is_wet(now.holds) && (now.holds != member.holds || now.since != member.since)
            })
        });
    View {
        priority: active.iter().map(|row| row.priority).max().unwrap_or(Priority::Notice),
        below,
        milder: is_milder(situation, members, rows),
        done,
        records: state.circuits.iter().map(line).collect(),
        active,
        near,
    }
}

/// The deadband: the coming low must lie above the limit by it. A part cannot freeze above its liquid's first ice, so
/// that is the highest limit; where the episode has shown that the part needs colder air than that, the mildest low at
/// which it was over its threshold counts, with a wider band.
fn is_milder(situation: &Situation, members: &[Member], rows: &[CircuitRisk]) -> bool {
    let Some(low) = situation.low else { return false };
    let first_ice = rows
        .iter()
        .filter(|row| members.iter().any(|member| member.system == System::of(row)))
        .filter_map(|row| row.limit_at_c)
        .fold(None, |warmest: Option<f64>, limit| Some(warmest.map_or(limit, |w| w.max(limit))));
    let seen = situation.open.as_ref().and_then(|alert| alert.mildest_active_low_c);
    let settings = &situation.settings;
    [first_ice.map(|ice| ice + settings.deadband_k), seen.map(|low| low + settings.deadband_seen_k)]
        .into_iter()
        .flatten()
        .reduce(f64::min)
        .is_none_or(|needed| low.median_c >= needed)
}

/// Not a number counts as over: unknown is wet.
fn is_over(row: &CircuitRisk, settings: &AlertSettings) -> bool {
    let short =
        row.slack_s.is_some_and(|s| hours(chrono::Duration::seconds(s)) < settings.waive_slack_h);
    let on = if row.consequence == Consequence::Severe && short {
        settings.severe_last_chance.min(settings.severe.on)
    } else {
        settings.threshold(row.consequence).on
    };
    row.frozen_now || row.chance_limit.is_nan() || row.chance_limit >= on
}

fn is_below(row: &CircuitRisk, settings: &AlertSettings) -> bool {
    !row.frozen_now && row.chance_limit < settings.threshold(row.consequence).off
}

/// What can still be helped first, then what presses most, then what costs most.
fn lead_order(row: &CircuitRisk) -> (bool, std::cmp::Reverse<(Priority, Consequence)>) {
    (row.frozen_now, std::cmp::Reverse((row.priority, row.consequence)))
}

fn likelier(a: &CircuitRisk, b: &CircuitRisk) -> std::cmp::Ordering {
    b.chance_limit.total_cmp(&a.chance_limit).then_with(|| a.circuit.cmp(&b.circuit))
}

fn record_of<'a>(state: &'a BoatState, system: &System) -> Option<&'a CircuitState> {
    state
        .circuits
        .iter()
        .find(|now| now.circuit == system.circuit && now.instance == system.instance)
}

fn line(now: &CircuitState) -> RecordLine {
    RecordLine {
        system: System { circuit: now.circuit.clone(), instance: now.instance.clone() },
        holds: now.holds,
        evidence: now.evidence,
        since: now.since,
    }
}
