//! `rimeward alerts`: the life of alerts: what is open, who was told, what each was decided on; and saying that one has
//! been seen.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde_json::{Value, json};

use super::{Exit, Refusal, Said, Surroundings, parse_time};
use crate::domain::alert::Alert;
use crate::domain::boat::PersonId;
use crate::service::deciding::acknowledge;
use crate::service::house::{House, YardBook};
use crate::service::unreached::round_name;
use crate::store::outbox::Posted;
use crate::store::{AlertFilter, AlertRecord};

/// Arguments of `alerts`.
#[derive(Debug, clap::Args)]
pub struct AlertsArgs {
    #[command(subcommand)]
    what: Option<What>,
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
    Acknowledge {
        /// Its id
        id: String,
        /// Who, by the id of the list of people
        #[arg(long, value_name = "WHO")]
        by: String,
        /// Until when they plan to have it done
        #[arg(long, value_name = "TIME")]
        plan_until: Option<String>,
    },
    /// Put one aside until a time, with a reason
    Shelve(super::shelve::ShelveArgs),
    /// What it was decided on, as it was stored then; nothing is computed anew
    Explain {
        /// Its id
        id: String,
    },
}

/// Lists, shows, acknowledges or explains.
///
/// # Errors
/// [`Refusal`]: an id that is not there, a person unknown, the store.
pub fn alerts(args: &AlertsArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let house = around.house()?;
    let yard = house.yard()?;
    match &args.what {
        None => list(&house, &yard, false),
        Some(What::List { all }) => list(&house, &yard, *all),
        Some(What::Show { id }) => show(&house, &yard, id),
        Some(What::Shelve(args)) => super::shelve::shelve(args, &house, around.now),
        Some(What::Explain { id }) => explain(&house, &yard, id),
        Some(What::Acknowledge { id, by, plan_until }) => {
            let record = find(&house, id)?;
            let by = PersonId::from(by.clone());
            if !yard.people.contains_key(&by) {
                let known: Vec<&str> = yard.people.keys().map(PersonId::as_str).collect();
                return Err(Refusal::bad_input(format!(
                    "nobody is listed as {by}; the yard has {}",
                    known.join(", ")
                )));
            }
            let zone = yard.zone(&record.site);
            let plan = plan_until.as_deref().map(|text| parse_time(text, zone)).transpose()?;
            if plan.is_some_and(|plan| plan <= around.now) {
                return Err(Refusal::bad_input("--plan-until lies in the past"));
            }
            let change = acknowledge(&house, &record.id, &by, plan, around.now)?;
            let Some(change) = change else {
                let flat = read(&record)?.flat().as_str();
                return Err(Refusal::bad_input(format!(
                    "{id} stands at {flat}: there is nothing to acknowledge"
                )));
            };
            Ok(Said {
                text: format!("{id}: {change}, by {by}\n"),
                json: json!({ "alert": id, "change": change, "by": by, "plan_until": plan }),
                exit: Exit::Done,
            })
        }
    }
}

fn find(house: &House, id: &str) -> Result<AlertRecord, Refusal> {
    if let Some(record) = house.store.alert(id)? {
        return Ok(record);
    }
    let open: Vec<String> =
        house.store.open_alerts()?.into_iter().map(|record| record.id).collect();
    let open = if open.is_empty() { "none is open".to_owned() } else { open.join(", ") };
    Err(Refusal::bad_input(format!("no alert is called {id}; open: {open}")))
}

fn read(record: &AlertRecord) -> Result<Alert, Refusal> {
    serde_json::from_value(record.document.clone()).map_err(|error| {
        Refusal::failed(format!("the alert {} cannot be read: {error}", record.id))
    })
}

fn subject(record: &AlertRecord, yard: &YardBook) -> String {
    match &record.boat {
        Some(id) => {
            let name = yard.boats.iter().find(|boat| boat.id == *id).map(|boat| boat.name.as_str());
            format!("{id} {} at {}", name.unwrap_or_default(), record.site)
        }
        None => {
            let person = record.document.pointer("/subject/person").and_then(Value::as_str);
            let person = person.and_then(|id| yard.people.get(&PersonId::from(id)));
            person.map_or_else(
                || record.site.to_string(),
                |person| format!("mail to {} {}", person.id, person.name),
            )
        }
    }
}

fn local(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).format("%a %d %b %Y %H:%M %Z").to_string()
}

fn rfc(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).to_rfc3339()
}

fn list(house: &House, yard: &YardBook, all: bool) -> Result<Said, Refusal> {
    let filter = AlertFilter { open: (!all).then_some(true), ..AlertFilter::default() };
    let mut text = String::new();
    let mut rows = Vec::new();
    for record in house.store.alerts(&filter)? {
        let alert = read(&record)?;
        let flat = alert.flat();
        let zone = yard.zone(&record.site);
        let priority = alert.decided_on.as_ref().map(|facts| facts.priority);
        let told: Vec<&str> = alert.told.keys().map(PersonId::as_str).collect();
        text += &format!(
            "{:20} {:7} {}; since {}; told {}\n",
            record.id,
            flat.as_str(),
            subject(&record, yard),
            local(record.raised_at, zone),
            if told.is_empty() { "nobody yet".to_owned() } else { told.join(", ") },
        );
        rows.push(json!({
            "id": record.id, "kind": record.kind, "boat": record.boat, "site": record.site,
            "state": flat.as_str(), "open": record.open, "priority": priority, "revision": record.revision,
            "raised": rfc(record.raised_at, zone), "closed": record.closed_at.map(|at| rfc(at, zone)),
            "told": told,
        }));
    }
    if rows.is_empty() {
        text = if all { "no alert was ever raised\n" } else { "no alert is open\n" }.to_owned();
    }
    Ok(Said { text, json: json!({ "alerts": rows }), exit: Exit::Done })
}

/// The letters of an alert; a roll-up stands under its own name and is found by who was told when.
fn letters_of(house: &House, alert: &Alert) -> Result<Vec<Posted>, Refusal> {
    let mut letters = house.store.letters(Some(alert.id.as_str()))?;
    for (person, ledger) in &alert.told {
        for sent in &ledger.sent {
            let rolled = format!("rollup-{person}-{}", sent.at.timestamp());
            letters.extend(house.store.letters(Some(&rolled))?);
        }
    }
    for passed in &alert.passed_on {
        letters.extend(house.store.letters(Some(&round_name(&passed.to, passed.at)))?);
    }
    letters.sort_by_key(|letter| letter.id);
    letters.dedup_by_key(|letter| letter.id);
    Ok(letters)
}

fn show(house: &House, yard: &YardBook, id: &str) -> Result<Said, Refusal> {
    let record = find(house, id)?;
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
    if let Some(closed) = record.closed_at {
        text += &format!("closed {}\n", local(closed, zone));
    }
    let transitions = house.store.transitions(id)?;
    for row in &transitions {
        text += &format!("  {}  {}\n", local(row.at, zone), row.change);
    }
    let letters = letters_of(house, &alert)?;
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
    let changes: Vec<Value> = transitions
        .iter()
        .map(|row| json!({ "at": rfc(row.at, zone), "revision": row.revision, "change": row.change }))
        .collect();
    let posted: Vec<Value> = letters
        .iter()
        .map(|letter| {
            json!({
                "recipient": letter.row.recipient, "state": letter.state.as_str(), "attempts": letter.attempts,
                "queued": rfc(letter.row.queued_at, zone), "message_id": letter.row.message_id,
                "subject": letter.row.subject, "answer": letter.answer,
            })
        })
        .collect();
    let json = json!({
        "id": id, "state": alert.flat().as_str(), "alert": record.document, "transitions": changes, "letters": posted,
    });
    Ok(Said { text, json, exit: Exit::Done })
}

fn explain(house: &House, yard: &YardBook, id: &str) -> Result<Said, Refusal> {
    let record = find(house, id)?;
    let zone = yard.zone(&record.site);
    let transitions = house.store.transitions(id)?;
    let mut text = format!("{id}: {}\n", subject(&record, yard));
    let mut rows = Vec::new();
    for row in &transitions {
        text += &format!("\n{}  {}\n", local(row.at, zone), row.change);
        outline(&row.decided_on, 1, &mut text);
        rows.push(json!({
            "at": rfc(row.at, zone), "revision": row.revision, "change": row.change, "decided_on": row.decided_on,
        }));
    }
    Ok(Said { text, json: json!({ "id": id, "transitions": rows }), exit: Exit::Done })
}

/// A stored document as indented lines; what is empty is left out.
fn outline(value: &Value, depth: usize, text: &mut String) {
    let indent = "  ".repeat(depth);
    let entries: Vec<(String, &Value)> = match value {
        Value::Object(map) => map.iter().map(|(key, value)| (key.clone(), value)).collect(),
        Value::Array(list) => {
            list.iter().enumerate().map(|(at, value)| (format!("{}.", at + 1), value)).collect()
        }
        other => {
            *text += &format!("{indent}{}\n", plain(other));
            return;
        }
    };
    for (key, value) in entries {
        match value {
            Value::Null => {}
            Value::Array(list) if list.is_empty() => {}
            Value::Object(map) if map.is_empty() => {}
            Value::Object(_) | Value::Array(_) => {
                *text += &format!("{indent}{key}\n");
                outline(value, depth + 1, text);
            }
            other => *text += &format!("{indent}{key}: {}\n", plain(other)),
        }
    }
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}
