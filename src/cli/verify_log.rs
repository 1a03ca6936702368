//! `rimeward verify-log`: does the chain over the lay-up log hold?

use serde_json::json;

use super::{Exit, Refusal, Said, Surroundings};
use crate::domain::boat::BoatId;

/// Arguments of `verify-log`.
#[derive(Debug, clap::Args)]
pub struct VerifyLogArgs {
    /// Only count the rows of this boat; the chain is checked whole all the same
    boat: Option<String>,
}

/// Recomputes every hash of the log.
///
/// # Errors
/// [`Refusal`]: a boat that the yard does not have, or the store.
pub fn verify_log(args: &VerifyLogArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let house = around.house()?;
    let boat = args.boat.as_deref().map(BoatId::from);
    if let Some(id) = &boat
        && house.store.boat(id)?.is_none()
    {
        let known: Vec<String> =
            house.store.boats()?.into_iter().map(|boat| boat.id.to_string()).collect();
        return Err(Refusal::bad_input(format!(
            "no boat is called {id}; the yard has {}",
            known.join(", ")
        )));
    }
    let report = house.store.verify_log(boat.as_ref())?;
    let broken = report.first_broken.as_ref();
    let text = match broken {
        None => format!(
            "{} rows, every hash holds\nhead {}\nWrite the head down elsewhere: who has it can show later that nothing before it was changed.\n",
            report.rows, report.head
        ),
        Some(broken) => format!(
            "the chain is broken at row {} (event {}): {}\nWhat stands from there on proves nothing; compare with a backup.\n",
            broken.seq, broken.event, broken.why
        ),
    };
    Ok(Said {
        text,
        json: json!({
            "boat": boat,
            "rows": report.rows,
            "head": report.head,
            "holds": broken.is_none(),
            "first_broken": broken.map(|b| json!({ "seq": b.seq, "event": b.event, "why": b.why })),
        }),
        exit: if broken.is_none() { Exit::Done } else { Exit::Failed },
    })
}
