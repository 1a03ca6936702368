//! Who is told of a freeze, and when it is news to them.
//!
//! The owner is told of what is news to them. A manager reads the worklist every working day: a message of its own goes
//! out only for what the next worklist would come too late for and the last one did not say. The next contact is told
//! when something pressing stays unanswered.

use chrono::{DateTime, Duration, Utc};

use super::super::advice::Act;
use super::super::draft::Draft;
use super::super::known::{floods_at, is_news, is_possible_again, is_thaw_news, is_unasked};
use super::super::worse::{Worse, hours, worse_than_told};
use super::super::{AlertSettings, Facts, Ledger, Response, Situation, System};
use super::look::{View, is_over};
use crate::domain::boat::Boat;
use crate::domain::risk::{CircuitRisk, Consequence, Priority};
use crate::domain::yard::{Person, Role};

/// Tells whoever has not been told, and whoever it has become worse for.
pub(super) fn tell_changes(draft: &mut Draft<'_>, facts: &Facts, boat: &Boat, again: bool) {
    let situation = draft.situation;
    let zone = situation.site.time_zone;
    let mut due: Vec<(&Person, Act)> = Vec::new();
    for person in situation.people.iter().filter(|person| answers_for(person, boat, situation)) {
        let act = match draft.next.told.get(&person.id) {
            Some(ledger)
                if ledger.awaits_closing && !must_hear(facts, person, draft).is_empty() =>
            {
                let news = must_hear(facts, person, draft);
                let worse = worse_than_told(facts, ledger, &situation.settings, zone);
                let more = only_news(worse, facts, person, draft);
                Act::Update { worse: news.into_iter().chain(more).collect() }
            }
            Some(ledger) if ledger.awaits_closing => {
                let worse = worse_than_told(facts, ledger, &situation.settings, zone);
                let worse = only_news(worse, facts, person, draft);
                let worse = sparing(worse, ledger, facts, &situation.settings);
                let nothing_new = worse.is_empty() && !eased_enough(draft, facts, person);
                if nothing_new || is_too_soon(facts, ledger, &worse, draft) {
                    continue;
                }
                Act::Update { worse }
            }
            _ if !concerns(person, facts, draft) => continue,
            _ => Act::Raise { again },
        };
        if person.role == Role::Manager && !needs_interrupting(facts, person, draft) {
            continue;
        }
        let first_word_in_a_hurry = matches!(act, Act::Raise { .. }) && is_soon(facts, situation);
        let must = !must_hear(facts, person, draft).is_empty();
        if first_word_in_a_hurry || must || draft.within_limit(person, facts.priority) {
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
    draft.yard_hears_now = due.iter().any(|(person, _)| person.role == Role::Manager);
    for (person, act) in due {
        draft.tell(person, act, facts, Vec::new());
    }
}

/// What no limit on letters holds back: work that was withheld and can be done, and a thaw that can flood.
fn must_hear(facts: &Facts, person: &Person, draft: &Draft<'_>) -> Vec<Worse> {
    let (known, active) = (&draft.next.known, facts.active());
    let again = active.iter().filter(|row| is_possible_again(known, &person.id, row));
    let parts: Vec<System> = again.map(System::of).collect();
    let thaws = active.iter().filter(|row| is_thaw_news(known, &person.id, row, draft.now));
    let thaws_at = thaws.filter_map(|row| floods_at(row, draft.now)).min();
    let possible = (!parts.is_empty()).then_some(Worse::Possible { parts });
    possible.into_iter().chain(thaws_at.map(|at| Worse::Thaws { at })).collect()
}

/// Would this be news to anybody who is told of raises? Without news nothing is raised: it stands on the worklist.
pub(super) fn is_news_to_anybody(draft: &Draft<'_>, view: &View, boat: &Boat) -> bool {
    let situation = draft.situation;
    let mut people = situation.people.iter().filter(|person| answers_for(person, boat, situation));
    people.any(|person| has_news(&view.active, person, draft))
}

/// Something is news, and at least as dear as what they know already and is in danger as well: who was told of the
/// drive needs no word of its own about a deck wash. A part of more than minor harm whose work was never asked for is told in any case.
fn has_news(active: &[CircuitRisk], person: &Person, draft: &Draft<'_>) -> bool {
    let gravest = |news: bool| {
        active
            .iter()
            .filter(|row| is_news_for(row, person, draft) == news && (news || !row.frozen_now))
            .map(|row| row.consequence)
            .max()
    };
    let known = &draft.next.known;
    let unasked = |row: &CircuitRisk| {
        row.consequence > Consequence::Minor && is_unasked(known, &person.id, row)
    };
    let must = |row: &CircuitRisk| {
        unasked(row)
            || is_possible_again(known, &person.id, row)
            || is_thaw_news(known, &person.id, row, draft.now)
    };
    active.iter().any(|row| must(row) && is_news_for(row, person, draft))
        || gravest(true).is_some_and(|news| gravest(false).is_none_or(|known| news >= known))
}

fn is_news_for(row: &CircuitRisk, person: &Person, draft: &Draft<'_>) -> bool {
    let settings = &draft.situation.settings;
    // "Tell me at a 1 in 10 chance" is the owner's own choice; the yard goes by the thresholds.
    let wanted = match person.tell_at_chance.filter(|_| person.role == Role::Owner) {
        Some(from) => row.frozen_now || row.chance_limit.is_nan() || row.chance_limit >= from,
        None => is_over(row, settings),
    };
    wanted && is_news(&draft.next.known, &person.id, row, settings, draft.look())
}

fn concerns(person: &Person, facts: &Facts, draft: &Draft<'_>) -> bool {
    has_news(facts.active(), person, draft)
}

/// Systems that an earlier episode has told this reader of are none that they hear of for the first time.
fn only_news(worse: Vec<Worse>, facts: &Facts, person: &Person, draft: &Draft<'_>) -> Vec<Worse> {
    let settings = &draft.situation.settings;
    let known = |system: &System| {
        facts.active().iter().any(|row| {
            System::of(row) == *system
                && !is_news(&draft.next.known, &person.id, row, settings, draft.look())
        })
    };
    worse
        .into_iter()
        .filter_map(|worse| match worse {
            Worse::Systems { mut new } => {
                new.retain(|system| !known(system));
                (!new.is_empty()).then_some(Worse::Systems { new })
            }
            other => Some(other),
        })
        .collect()
}

/// What is left to say after the updates that an episode allows: a dearer or refilled part always, less time where it
/// is a matter of today; of the rest as many as the settings allow. About small parts nothing is said twice.
fn sparing(
    worse: Vec<Worse>,
    ledger: &Ledger,
    facts: &Facts,
    settings: &AlertSettings,
) -> Vec<Worse> {
    let is_new = |worse: &Worse| matches!(worse, Worse::Systems { .. });
    if worse.iter().any(is_new) {
        return worse;
    }
    let small = facts.active().iter().all(|row| row.consequence == Consequence::Minor);
    let used_up = ledger.updates >= settings.updates_most;
    let today = |worse: &Worse| match worse {
        Worse::LatestStart { to, .. } => hours(*to - facts.at) < settings.waive_slack_h,
        _ => false,
    };
    if small || used_up && !worse.iter().any(today) { Vec::new() } else { worse }
}

/// Does a manager have to hear of this before the next worklist? What the last one listed, with no later start than
/// now, they know; what has frozen or is past its latest start is no errand for tonight.
fn needs_interrupting(facts: &Facts, person: &Person, draft: &Draft<'_>) -> bool {
    let (situation, now) = (draft.situation, draft.now);
    if facts.priority < situation.settings.manager_from {
        return false;
    }
    let Some(worklist) = situation.worklist else { return true };
    if worklist.in_this_round {
        return false;
    }
    let margin = Duration::minutes(minutes(situation.settings.worklist_margin_h * 60.0));
    if facts.active().iter().all(|row| row.frozen_now || row.consequence == Consequence::Minor) {
        return false;
    }
    // What the list had as frozen it asked nothing for.
    if !must_hear(facts, person, draft).is_empty() {
        return true;
    }
    // No start that could be named: as good as now.
    let start = facts.latest_start.unwrap_or(now);
    let too_late = start < worklist.next + margin;
    let known = draft.next.listed.as_ref().is_some_and(|listed| {
        listed.consequence >= facts.lead().map_or(listed.consequence, |row| row.consequence)
            && listed.latest_start.is_none_or(|was| start + margin >= was || was <= now)
    });
    too_late && !known
}

/// Too little time to hold the first word back for the sake of a limit: an owner of three boats needs all three.
fn is_soon(facts: &Facts, situation: &Situation) -> bool {
    let start = facts.latest_start.or(facts.first_danger);
    start.is_none_or(|start| hours(start - facts.at) < situation.settings.waive_slack_h)
}

/// Too soon after the last message: what is still worse then is told then. What has become dearer does not wait.
fn is_too_soon(facts: &Facts, ledger: &Ledger, worse: &[Worse], draft: &Draft<'_>) -> bool {
    let gravest = facts.active().iter().map(|row| row.consequence).max();
    let dearer = gravest.is_some_and(|gravest| gravest > ledger.worst.consequence)
        && worse.iter().any(|worse| matches!(worse, Worse::Systems { .. }));
    let gap_h = draft.situation.settings.update_gap_h;
    !dearer && hours(draft.now - ledger.last.at) < gap_h
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
            Worse::StillOpen { .. } => "still open",
            Worse::Possible { .. } => "work that was withheld can be done",
            Worse::Thaws { .. } => "about to thaw",
        })
        .collect();
    if words.is_empty() { "what to do has changed".to_owned() } else { words.join(", ") }
}

/// The owner, and the manager of the place where the boat stands; where there is neither, whoever keeps this service
/// running: somebody has to hear of it.
fn answers_for(person: &Person, boat: &Boat, situation: &Situation) -> bool {
    let answers = |person: &Person| {
        boat.owner.as_ref() == Some(&person.id) || person.manages(&situation.site.id)
    };
    answers(person) || person.role == Role::Operator && !situation.people.iter().any(answers)
}

/// Row 8: a plan whose time is over by an hour, or a mere "seen" that is as old as the settings allow, no longer counts.
/// The reader hears once that it is still open.
pub(super) fn lapse(draft: &mut Draft<'_>, facts: &Facts) {
    let Response::Acknowledged { by, at, plan_until } = draft.next.response.clone() else { return };
    let settings = &draft.situation.settings;
    let Some(start) = facts.latest_start.filter(|start| *start > draft.now) else { return };
    let seen_for = (hours(start - at) / 2.0).clamp(0.0, settings.seen_counts_h);
    let over_at = plan_until.map_or_else(
        || at + Duration::minutes(minutes(seen_for * 60.0)),
        |plan| plan + Duration::hours(1),
    );
    if draft.now < over_at {
        return;
    }
    let Some(person) = draft.situation.people.iter().find(|person| person.id == by) else { return };
    let told_lately = draft.next.told.get(&by).is_none_or(|ledger| {
        !ledger.awaits_closing || hours(draft.now - ledger.last.at) < settings.still_open_gap_h
    });
    draft.next.response = Response::Unacknowledged;
    if told_lately {
        draft.log(8, "the answer lapsed");
        return;
    }
    draft.next_revision();
    draft.next.decided_on = Some(facts.clone());
    draft.log(8, "not recorded as done by the time planned");
    let act = Act::Update { worse: vec![Worse::StillOpen { planned: plan_until }] };
    draft.tell(person, act, facts, Vec::new());
}

/// Row 5: pressing, unanswered, and there is still time: the next contact is told, one at a time.
pub(super) fn escalate(draft: &mut Draft<'_>, facts: &Facts) {
    let settings = &draft.situation.settings;
    let Some(start) = facts.latest_start.filter(|start| *start > draft.now) else { return };
    let pressing = facts.priority == Priority::High
        && draft.next.response == Response::Unacknowledged
        // What the last worklist said, the yard knows.
        && draft.next.listed.is_none();
    if !pressing {
        return;
    }
    let Some(last) = last_word(draft) else { return };
    let slack_then = hours(start - last).max(0.0);
    let wait = settings.escalate_h.min(settings.escalate_share * slack_then);
    if hours(draft.now - last) < wait || draft.next.escalated >= settings.escalate_most {
        return;
    }
    let next = next_contact(draft).cloned();
    let Some(person) = next else { return };
    draft.next.escalated = draft.next.escalated.saturating_add(1);
    draft.log(5, "pressing and not answered: the next contact is told");
    draft.tell_step(&person, Act::Raise { again: false }, facts, draft.next.escalated);
}

/// When anybody was last told of this alert.
fn last_word(draft: &Draft<'_>) -> Option<DateTime<Utc>> {
    draft.next.told.values().filter(|ledger| ledger.awaits_closing).map(|l| l.last.at).max()
}

/// The people of the place who were not told, in their order; managers read the worklist and come first by their order.
fn next_contact<'a>(draft: &Draft<'a>) -> Option<&'a Person> {
    let situation = draft.situation;
    let untold = |person: &&Person| {
        draft.next.told.get(&person.id).is_none_or(|ledger| !ledger.awaits_closing)
    };
    let mut contacts: Vec<&Person> = situation
        .people
        .iter()
        .filter(|person| person.manages(&situation.site.id) || person.works_at(&situation.site.id))
        .filter(untold)
        .filter(|person| draft.has_room(person))
        .collect();
    contacts.sort_by_key(|person| person.escalation_order.unwrap_or(u8::MAX));
    contacts.first().copied()
}

#[expect(clippy::cast_possible_truncation, reason = "settings in hours, clamped")]
fn minutes(minutes: f64) -> i64 {
    minutes.clamp(0.0, 1.0e6) as i64
}

/// Off the shelf when its time is over: whoever was told hears that it is still open.
pub(super) fn still_open(draft: &mut Draft<'_>, facts: &Facts) {
    let situation = draft.situation;
    let waiting: Vec<&Person> = situation
        .people
        .iter()
        .filter(|person| {
            draft.next.told.get(&person.id).is_some_and(|ledger| ledger.awaits_closing)
        })
        .collect();
    if waiting.is_empty() {
        return;
    }
    draft.next_revision();
    draft.next.decided_on = Some(facts.clone());
    for person in waiting {
        let act = Act::Update { worse: vec![Worse::StillOpen { planned: None }] };
        draft.tell(person, act, facts, Vec::new());
    }
}
