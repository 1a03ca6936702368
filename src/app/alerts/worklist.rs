//! Whom the day's worklist goes to.

use super::gathering::Gathering;
use crate::app::context::ServiceError;
use crate::domain::alert::worklist::WorklistDue;
use crate::domain::alert::{Decision, DecisionInput, decide};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::yard::{Person, Role};

/// Each manager, when its time has come.
///
/// # Errors
/// None of its own.
pub(super) fn worklist(
    gathering: &Gathering<'_>,
    decided: &mut Decision,
) -> Result<(), ServiceError> {
    if !gathering.worklist_due {
        return Ok(());
    }
    let seen = gathering.seen;
    let first = |person: &Person| {
        let mut places = seen.places.keys();
        places.find(|site| person.sites.is_empty() || person.sites.contains(site)).cloned()
    };
    let managers = seen.yard.people.values().filter(|person| person.role == Role::Manager);
    let readers: Vec<(PersonId, Option<SiteId>)> =
        managers.map(|person| (person.id.clone(), first(person))).collect();
    let zone = gathering.app.settings.yard.time_zone;
    let day = gathering.now.with_timezone(&zone).date_naive();
    let due = WorklistDue { readers: &readers, day };
    decided.extend(decide(DecisionInput::Worklist(&due), gathering.now));
    Ok(())
}
