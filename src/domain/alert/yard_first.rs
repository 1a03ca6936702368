//! Who hears first. Where the yard looks after a boat, alone or with the owner, the yard hears first and the owner's first
//! letter waits for it: two working hours in which the yard can hold it, add a word of its own, or let it go. Where time is
//! short nothing waits.

use chrono::{DateTime, Duration, Utc};

use super::Facts;
use super::advice::Act;
use super::situation::Situation;
use crate::domain::boat::Care;
use crate::domain::local_time;
use crate::domain::risk::Priority;
use crate::domain::risk::timing::after_working_hours;
use crate::domain::yard::{Person, Role};

/// What the yard may do to an owner's letter before it goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hold {
    /// It goes by itself then.
    pub until: DateTime<Utc>,
    /// The yard can hold it until then at most.
    pub most: DateTime<Utc>,
}

/// What decides whether the yard hears, and when.
#[derive(Clone, Copy)]
pub(super) struct Ground<'a> {
    pub(super) situation: &'a Situation,
    /// Who looks after the boat.
    pub(super) care: Option<Care>,
    /// The last worklist had it.
    pub(super) is_listed: bool,
    /// A manager has been told of it.
    pub(super) manager_knows: bool,
    pub(super) now: DateTime<Utc>,
}

/// Is this a boat of which the yard hears before or together with the owner?
fn hears_first(ground: Ground<'_>) -> bool {
    let runs =
        |person: &Person| person.manages(&ground.situation.site.id) && person.email.is_some();
    matches!(ground.care, Some(Care::Yard | Care::Shared))
        && ground.situation.people.iter().any(runs)
}

/// Is what these facts say told to the yard too: now, before, or on the worklist? An owner may ask to be told at a lower chance
/// than the yard goes by: such a letter must not say that the yard knows.
pub(super) fn is_told(ground: Ground<'_>, facts: &Facts, yard_hears_now: bool) -> bool {
    let on_the_worklist = ground.situation.worklist.is_some()
        && facts.rows.iter().any(|row| row.priority > Priority::Notice);
    let known = yard_hears_now || ground.is_listed || ground.manager_knows;
    hears_first(ground) && (known || on_the_worklist)
}

/// How long the letter to `person` waits for the yard; `None`: not at all. `yard_hears_now`: the same round tells a manager.
///
/// Only the first word waits: what has become worse since is no moment to hold anything.
pub(super) fn hold(
    ground: Ground<'_>,
    person: &Person,
    (act, facts): (&Act, &Facts),
    yard_hears_now: bool,
) -> Option<Hold> {
    let (settings, now) = (&ground.situation.settings, ground.now);
    let first = matches!(act, Act::Raise { .. });
    if person.role != Role::Owner
        || !first
        || facts.priority == Priority::High
        || !is_told(ground, facts, yard_hears_now)
    {
        return None;
    }
    let start = facts.latest_start.or(facts.first_danger)?;
    let listed = ground.is_listed
        || ground.situation.worklist.is_some_and(|worklist| worklist.in_this_round);
    let known = yard_hears_now || listed || ground.manager_knows;
    let heard_at = match ground.situation.worklist {
        _ if known => now,
        Some(worklist) => worklist.next,
        // Nothing else will tell the yard: then nothing waits for it.
        None => return None,
    };
    let most =
        (start - hours(settings.yard_first_slack_h)).min(now + hours(settings.yard_first_most_h));
    let (zone, working) = (ground.situation.site.time_zone, ground.situation.working_hours);
    let until =
        after_working_hours(heard_at, hours(settings.yard_first_h), zone, working).min(most);
    let until = before_the_night(until, person, ground);
    (until > now).then_some(Hold { until, most })
}

/// What would leave in the reader's quiet hours because time is short leaves when they begin: read in the evening it can still
/// be acted on.
fn before_the_night(until: DateTime<Utc>, person: &Person, ground: Ground<'_>) -> DateTime<Utc> {
    let (settings, zone) = (&ground.situation.settings, ground.situation.site.time_zone);
    let from = person.quiet_from.unwrap_or(settings.quiet_from);
    let to = person.quiet_to.unwrap_or(settings.quiet_to);
    let local = until.with_timezone(&zone).naive_local();
    let (clock, day) = (local.time(), local.date());
    let begun = if from > to && clock < to { day.pred_opt().unwrap_or(day) } else { day };
    let quiet = if from > to { clock >= from || clock < to } else { clock >= from && clock < to };
    if quiet { local_time::first(zone, begun.and_time(from)).max(ground.now) } else { until }
}

#[expect(clippy::cast_possible_truncation, reason = "settings in hours, clamped")]
fn hours(hours: f64) -> Duration {
    Duration::minutes((hours.clamp(0.0, 1.0e4) * 60.0) as i64)
}
