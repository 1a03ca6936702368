//! `rimeward alerts`: the life of alerts: what is open, who was told, what each was decided on; and saying that one has
//! been seen.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde_json::json;

use super::found::{find, local, person_by, read, rfc, subject};
use super::{CliContext, CliError, CommandOutput, Exit, as_json, parse_time};
use crate::app::alerts::by_hand::by_hand;
use crate::app::context::{AppContext, YardBook};
use crate::app::ports::AlertFilter;
use crate::app::ports::AlertStore;
use crate::app::ports::AppStore;
use crate::app::ports::Outbox;
use crate::app::ports::Posted;
use crate::domain::alert::unreachable::round_name;
use crate::domain::alert::{Alert, Annunciation, Response};
use crate::domain::boat::PersonId;
use crate::views::alert::{AlertRow, AlertView, AlertsView, LetterLine, MoveLine};

/// Arguments of `alerts`.
#[derive(Debug, clap::Args)]
pub struct AlertsArgs {
    #[command(subcommand)]
    what: Option<What>,
    /// As if it were then: for trials on the demonstration's store
    #[arg(long, value_name = "TIME", global = true)]
    at: Option<String>,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// The open ones (the default), or all
    List {
        /// Closed ones too
        #[arg(long)]
        all: bool,
    },
    /// One alert: its state, who was told, what became of each letter
    Show {
        /// Its id
        id: String,
    },
    /// Somebody responsible has seen it
    Acknowledge(AcknowledgeArgs),
    /// Put one aside until a time, with a reason
    Shelve(super::shelve::ShelveArgs),
    /// Take one off the shelf before its time
    Unshelve(super::shelve::UnshelveArgs),
    /// Take one out of service until a day: a boat sold, a wrong entry being sorted out
    OutOfService(super::taken_out::OutArgs),
    /// Put it back before that day
    InService(super::taken_out::InArgs),
    /// Take back one that was issued in error
    Cancel(super::taken_out::CancelArgs),
    /// Letters to owners that wait for the yard to look at them first
    Held,
    /// Hold such a letter longer
    Hold(super::held::HoldArgs),
    /// Let such a letter go, with a word of the yard
    Release(super::held::ReleaseArgs),
    /// One alert as a CAP 1.2 document, for systems that collect such
    Cap {
        /// Its id
        id: String,
    },
    /// What it was decided on, as it was stored then; nothing is computed anew
    Explain {
        /// Its id
        id: String,
    },
}

/// Arguments of `alerts acknowledge`.
#[derive(Debug, clap::Args)]
struct AcknowledgeArgs {
    /// Its id
    id: String,
    /// Who, by the id of the list of people
    #[arg(long, value_name = "WHO")]
    by: String,
    /// Until when they plan to have it done
    #[arg(long, value_name = "TIME")]
    plan_until: Option<String>,
}

/// Lists, shows, acknowledges or explains.
///
/// # Errors
/// [`CliError`]: an id that is not there, a person unknown, the store.
pub fn alerts(args: &AlertsArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let yard = house.yard()?;
    let now = around.time_or_now(args.at.as_deref(), house.settings.yard.time_zone)?;
    match &args.what {
        None => list(&*house.store, &yard, false),
        Some(What::List { all }) => list(&*house.store, &yard, *all),
        Some(What::Show { id }) => show(&*house.store, &yard, id),
        Some(What::Shelve(args)) => super::shelve::shelve(args, (&house, &yard), now),
        Some(What::Unshelve(args)) => super::shelve::unshelve(args, (&house, &yard), now),
        Some(What::OutOfService(args)) => super::taken_out::out(args, (&house, &yard), now),
        Some(What::InService(args)) => super::taken_out::back(args, (&house, &yard), now),
        Some(What::Cancel(args)) => super::taken_out::cancel(args, (&house, &yard), now),
        Some(What::Held) => super::held::list((&*house.store, &yard), now),
        Some(What::Hold(args)) => super::held::hold(args, (&*house.store, &yard), now),
        Some(What::Release(args)) => super::held::release(args, (&house, &yard), now),
        Some(What::Cap { id }) => super::cap::cap(id, (&house, &yard), now),
        Some(What::Explain { id }) => super::explain::explain((&house, &yard), id),
        Some(What::Acknowledge(args)) => acknowledge(args, (&house, &yard), now),
    }
}

fn acknowledge(
    args: &AcknowledgeArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let record = find(&*house.store, &args.id)?;
    let by = person_by(yard, &args.by)?;
    let zone = yard.zone(&record.site);
    let plan = args.plan_until.as_deref().map(|text| parse_time(text, zone)).transpose()?;
    let plan = plan.map(|plan| plan.with_timezone(&zone));
    let change = by_hand(house, &record, &|alert, owner| alert.answer(by, owner, plan, now), now)?
        .map_err(|error| CliError::bad_input(error.to_string()))?;
    let planned = plan.map_or_else(String::new, |plan| {
        format!(", to be done by {}", plan.format("%a %d %b %Y %H:%M %Z"))
    });
    Ok(CommandOutput {
        text: format!("{}: {change}, by {} {}{planned}\n", args.id, by.id, by.name),
        json: json!({
            "alert": args.id, "change": change, "by": by.id, "plan_until": plan.map(|plan| plan.to_rfc3339()),
        }),
        exit: Exit::Done,
    })
}

/// What a person has said about it: put aside until when and why, or seen and planned.
fn said_of(alert: &Alert, zone: Tz) -> Option<String> {
    if let Annunciation::Shelved { until, by, reason } = &alert.annunciation {
        return Some(format!("put aside until {} by {by}: {reason}", local(*until, zone)));
    }
    if let Annunciation::OutOfService { by, review_on, reason } = &alert.annunciation {
        return Some(format!("out of service until {} by {by}: {reason}", local(*review_on, zone)));
    }
    if let Annunciation::SuppressedByDesign { .. } = &alert.annunciation {
        return Some("in heated storage with the heat on".to_owned());
    }
    let Response::Acknowledged { by, at, plan_until } = &alert.response else { return None };
    let plan = plan_until
        .map_or_else(String::new, |plan| format!(", to be done by {}", local(plan, zone)));
    Some(format!("seen by {by} {}{plan}", local(*at, zone)))
}

fn list(store: &dyn AlertStore, yard: &YardBook, all: bool) -> Result<CommandOutput, CliError> {
    let filter = AlertFilter { open: (!all).then_some(true), ..AlertFilter::default() };
    let mut text = String::new();
    let mut rows = Vec::new();
    for record in store.alert_records(&filter)? {
        let alert = read(&record)?;
        let flat = alert.flat();
        let zone = yard.zone(&record.site);
        let told: Vec<&str> = alert.told.keys().map(PersonId::as_str).collect();
        text += &format!(
            "{:20} {:7} {}; since {}; told {}{}\n",
            record.id,
            flat.as_str(),
            subject(&record, yard),
            local(record.raised_at, zone),
            if told.is_empty() { "nobody yet".to_owned() } else { told.join(", ") },
            said_of(&alert, zone).map_or_else(String::new, |said| format!("; {said}")),
        );
        let times = (rfc(record.raised_at, zone), record.closed_at.map(|at| rfc(at, zone)));
        rows.push(AlertRow::of(&alert, times));
    }
    if rows.is_empty() {
        text = if all { "no alert was ever raised\n" } else { "no alert is open\n" }.to_owned();
    }
    Ok(CommandOutput { text, json: as_json(&AlertsView { alerts: rows })?, exit: Exit::Done })
}

/// The letters of an alert; a roll-up stands under its own name and is found by who was told when.
fn letters_of(store: &dyn Outbox, alert: &Alert) -> Result<Vec<Posted>, CliError> {
    let mut letters = store.letters(Some(alert.id.as_str()))?;
    for (person, ledger) in &alert.told {
        for sent in &ledger.sent {
            let rolled = format!("rollup-{person}-{}", sent.at.timestamp());
            letters.extend(store.letters(Some(&rolled))?);
        }
    }
    for passed in &alert.passed_on {
        letters.extend(store.letters(Some(&round_name(&passed.to, passed.at)))?);
    }
    letters.sort_by_key(|letter| letter.id);
    letters.dedup_by_key(|letter| letter.id);
    Ok(letters)
}

fn show(store: &dyn AppStore, yard: &YardBook, id: &str) -> Result<CommandOutput, CliError> {
    let record = find(store, id)?;
    let alert = read(&record)?;
    let zone = yard.zone(&record.site);
    let mut text = format!(
        "{id}: {} ({}), revision {}\nabout {}\nraised {}\n",
        alert.flat().as_str(),
        record.kind,
        record.revision,
        subject(&record, yard),
        local(record.raised_at, zone)
    );
    if let Some(said) = said_of(&alert, zone) {
        text += &format!("{said}\n");
    }
    if let Some(closed) = record.closed_at {
        text += &format!("closed {}\n", local(closed, zone));
    }
    let transitions = store.transitions(id)?;
    for row in &transitions {
        text += &format!("  {}  {}\n", local(row.at, zone), row.change);
    }
    let letters = letters_of(store, &alert)?;
    text += "letters:\n";
    for letter in &letters {
        text += &format!(
            "  {}  to {} ({}): {}, {} attempts{}\n    {}\n",
            local(letter.row.queued_at, zone),
            letter.row.recipient,
            letter.row.address,
            letter.state.as_str(),
            letter.attempts,
            letter.answer.as_ref().map_or(String::new(), |answer| format!("; {answer}")),
            letter.row.subject,
        );
    }
    let moves = transitions.iter();
    let view = AlertView {
        id: id.to_owned(),
        state: alert.flat().as_str(),
        alert: record.document,
        transitions: moves
            .map(|row| MoveLine::of(row.at, row.revision, &row.change, zone))
            .collect(),
        letters: letters.into_iter().map(|letter| letter_line(letter, zone)).collect(),
    };
    Ok(CommandOutput { text, json: as_json(&view)?, exit: Exit::Done })
}

fn letter_line(letter: Posted, zone: Tz) -> LetterLine {
    LetterLine {
        recipient: letter.row.recipient,
        state: letter.state.as_str(),
        attempts: letter.attempts,
        queued: rfc(letter.row.queued_at, zone),
        message_id: letter.row.message_id,
        subject: letter.row.subject,
        answer: letter.answer,
    }
}
