//! Quiet hours: when a message that is not pressing may leave.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::AlertSettings;
use crate::domain::local_time;
use crate::domain::risk::Priority;
use crate::domain::yard::{Person, Role};

/// The instant before which a message to `person` is held; `None`: it may leave now.
///
/// Held are medium and low in the person's quiet hours, by the clock of the place, unless the latest start falls before
/// 09:00 of the morning on which they end; one that has passed already does: somebody may still be called in. High is never held. An operator who states no quiet hours has none.
#[must_use]
pub fn not_before(
    person: &Person,
    zone: Tz,
    settings: &AlertSettings,
    priority: Priority,
    latest_start: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    if priority == Priority::High {
        return None;
    }
    let (from, to) = match (person.quiet_from, person.quiet_to) {
        (Some(from), Some(to)) => (from, to),
        _ if person.role == Role::Operator => return None,
        _ => (settings.quiet_from, settings.quiet_to),
    };
    let local = now.with_timezone(&zone).naive_local();
    let (clock, today) = (local.time(), local.date());
    let (quiet, end_day) = if from <= to {
        (clock >= from && clock < to, today)
    } else if clock >= from {
        (true, today.succ_opt().unwrap_or(today))
    } else {
        (clock < to, today)
    };
    if !quiet {
        return None;
    }
    let morning = local_time::first(zone, end_day.and_time(settings.quiet_morning));
    if latest_start.is_some_and(|start| start < morning) {
        return None;
    }
    let end = local_time::first(zone, end_day.and_time(to));
    (end > now).then_some(end)
}
