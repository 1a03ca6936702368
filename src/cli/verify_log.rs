//! `rimeward verify-log`: does the chain over the lay-up log hold?

use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::domain::boat::BoatId;

/// Arguments of `verify-log`.
#[derive(Debug, clap::Args)]
pub struct VerifyLogArgs {
    /// Only count the rows of this boat; the chain is checked whole all the same
    boat: Option<String>,
    /// A head that was written down earlier, as in a worklist: does the log still hold everything up to it?
    #[arg(long, value_name = "HASH")]
    head: Option<String>,
}

/// Recomputes every hash of the log.
///
/// # Errors
/// [`CliError`]: a boat that the yard does not have, or the store.
pub fn verify_log(
    args: &VerifyLogArgs,
    around: &CliContext<'_>,
) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let boat = args.boat.as_deref().map(BoatId::from);
    if let Some(id) = &boat
        && house.store.boat(id)?.is_none()
    {
        let known: Vec<String> =
            house.store.boats()?.into_iter().map(|boat| boat.id.to_string()).collect();
        return Err(CliError::bad_input(format!(
            "no boat is called {id}; the yard has {}",
            known.join(", ")
        )));
    }
    let report = house.store.verify_log(boat.as_ref())?;
    let broken = report.first_broken.as_ref();
    let known = args.head.as_ref().map(|head| house.store.log_has(head.trim())).transpose()?;
    if let (Some(head), Some(false)) = (&args.head, known) {
        return Ok(CommandOutput {
            text: format!(
                "no row of the log has the hash {head}: what was entered up to it has been changed or taken out\ncompare with a backup from when it was written down\n"
            ),
            json: json!({ "boat": boat, "rows": report.rows, "head": report.head, "holds": false, "known_head": false }),
            exit: Exit::Failed,
        });
    }
    let text = match broken {
        None => format!(
            "{} rows, every hash holds\nhead {}\n{}Write the head down elsewhere: rimeward verify-log --head HASH shows later that nothing up to it was changed or taken out.\n",
            report.rows,
            report.head,
            if known == Some(true) {
                "The head that you gave is in it, and all that was entered before it.\n"
            } else {
                ""
            }
        ),
        Some(broken) => format!(
            "the chain is broken at row {} (event {}): {}\nWhat stands from there on proves nothing; compare with a backup.\n",
            broken.seq, broken.event, broken.why
        ),
    };
    Ok(CommandOutput {
        text,
        json: json!({
            "boat": boat,
            "rows": report.rows,
            "head": report.head,
            "holds": broken.is_none(),
            "known_head": known,
            "first_broken": broken.map(|b| json!({ "seq": b.seq, "event": b.event, "why": b.why })),
        }),
        exit: if broken.is_none() { Exit::Done } else { Exit::Failed },
    })
}
