//! What the rows of a boat come to: what is over its threshold, what is near, what the record says.

use super::super::advice::RecordLine;
use super::super::settings::Threshold;
use super::super::worse::hours;
use super::super::{AlertSettings, Member, Situation, System, is_wet};
use crate::domain::boat::{BoatState, CircuitState, Holds};
use crate::domain::risk::judge::wanted_on;
use crate::domain::risk::{CircuitRisk, Consequence, Priority};
use crate::domain::yard::Role;

/// What the rows come to.
pub(super) struct View {
    /// Over their threshold, the leading one first.
    pub active: Vec<CircuitRisk>,
    /// Between off and on, and whatever else of some harm holds what can freeze: named so that it does not come as news
    /// later.
    pub near: Vec<CircuitRisk>,
    pub priority: Priority,
    /// Everything that has belonged to the episode is below its off-threshold, by the rows.
    pub below: bool,
    /// ... and the coming low is milder than the limit by the deadband.
    pub milder: bool,
    /// Every member's record now says that it holds nothing that can freeze and break it.
    pub done: bool,
    /// Something is over its threshold, and all of that is past its limit: nothing is left to prevent.
    pub all_frozen: bool,
    pub records: Vec<RecordLine>,
}

pub(super) fn look(situation: &Situation, state: &BoatState, rows: &[CircuitRisk]) -> View {
    let wanted = wanted_thresholds(situation);
    let settings = &wanted;
    let (mut active, mut near) = (Vec::new(), Vec::new());
    for row in rows {
        let asks = row.priority > Priority::Notice;
        let dear = row.consequence >= Consequence::Major && can_freeze(row.holds);
        if asks && is_over(row, settings) {
            active.push(row.clone());
        } else if asks && !is_below(row, settings) || dear && !row.frozen_now {
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
        all_frozen: !active.is_empty() && active.iter().all(|row| row.frozen_now),
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

/// The thresholds, with that for severe harm lowered to what the owner wants to hear of ("tell me at a 1 in 20 chance"):
/// their own choice between the cost of acting and the loss.
fn wanted_thresholds(situation: &Situation) -> AlertSettings {
    let mut settings = situation.settings.clone();
    let mut owners = situation.people.iter().filter(|person| person.role == Role::Owner);
    let Some(from) = owners.next().and_then(|owner| owner.tell_at_chance) else { return settings };
    let on = wanted_on(from, settings.severe.on);
    settings.severe = Threshold { on, off: settings.severe.off.min(on / 2.0) };
    settings
}

/// Not a number counts as over: unknown is wet.
pub(super) fn is_over(row: &CircuitRisk, settings: &AlertSettings) -> bool {
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

/// Water, or a mixture that may be too thin.
fn can_freeze(holds: Holds) -> bool {
    is_wet(holds) || matches!(holds, Holds::Blend | Holds::Coolant)
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
