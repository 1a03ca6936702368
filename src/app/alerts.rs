//! From an assessment to decisions: each kind of alert gathers what it looks at, and one pure function decides
//! ([`decide`](crate::domain::alert::decide())). A new kind is a file here, one beside it in `domain::alert`, one in
//! [`notify`](crate::app::notify), and a line in `KINDS`.

mod aging;
pub mod blend;
pub mod by_hand;
pub mod deadline;
mod gathering;
pub mod heat;
pub mod open_alerts;
pub mod opening;
pub mod outlook;
pub mod rows;
pub mod seasonal;
pub mod unreachable;
mod worklist;

use chrono::{DateTime, Utc};

use crate::app::assess::Assessment;
use crate::app::context::{AppContext, ServiceError};
use crate::domain::alert::Decision;
use gathering::Gathering;
use open_alerts::OpenAlerts;

/// One kind: looks at what the round has seen, and adds what follows to what was decided before it.
type KindOfAlert = fn(&Gathering<'_>, &mut Decision) -> Result<(), ServiceError>;

/// Every kind of a round, in the order in which they are decided and leave: a freeze goes before what rests on past seasons.
const KINDS: [KindOfAlert; 8] = [
    outlook::freezes,
    outlook::blindness,
    heat::heats,
    deadline::nudges,
    opening::openings,
    aging::aging,
    blend::blends,
    worklist::worklist,
];

/// Decides everything that a round has seen.
///
/// # Errors
/// The store's, an alert document that cannot be read, or a hole in the tables.
pub fn decide_round(
    app: &AppContext,
    seen: &Assessment,
    worklist_due: bool,
    now: DateTime<Utc>,
) -> Result<Decision, ServiceError> {
    let open = OpenAlerts::read(&*app.store)?;
    let gathering = Gathering { app, seen, open: &open, worklist_due, now };
    let mut decided = Decision::default();
    for kind in KINDS {
        kind(&gathering, &mut decided)?;
    }
    Ok(decided)
}
