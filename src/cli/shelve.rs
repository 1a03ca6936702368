//! `rimeward alerts shelve`: puts an alert aside until a time, with a reason.

use serde_json::json;

use super::{Exit, Refusal, Said, Surroundings, parse_time};
use crate::domain::alert::{Alert, Decision};
use crate::domain::yard::{Person, Role};
use crate::service::deciding::{record_of, transition_rows};
use crate::service::house::House;
use crate::store::RoundCommit;

/// Arguments of `alerts shelve`.
#[derive(Debug, clap::Args)]
pub struct ShelveArgs {
    /// Which alert, such as freeze-B02-1
    id: String,
    /// Until when: 2022-11-20T12:00 (time of the place)
    #[arg(long, value_name = "TIME")]
    until: String,
    /// Why, for whoever reads the log
    #[arg(long)]
    reason: String,
    /// Who puts it aside: a person's id (default: the manager of the place)
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
}

/// Puts one alert aside.
///
/// # Errors
/// [`Refusal`]: no such alert or person, a time that is not one, or longer than the limits allow.
pub fn shelve(args: &ShelveArgs, around: &Surroundings<'_>) -> Result<Said, Refusal> {
    let house = around.house()?;
    let based_on = house.store.generation()?;
    let record = house.store.alert(&args.id)?.ok_or_else(|| {
        Refusal::bad_input(format!(
            "there is no alert {}: rimeward alerts list names the open ones",
            args.id
        ))
    })?;
    let zone = house.yard()?.zone(&record.site);
    let until = parse_time(&args.until, zone)?;
    let alert: Alert = serde_json::from_value(record.document).map_err(|error| {
        Refusal::failed(format!("the alert {} cannot be read: {error}", args.id))
    })?;
    let person = person(&house, &alert, args.by.as_deref())?;
    let (next, transition) = alert
        .shelve(&person, until, &args.reason, around.now)
        .map_err(|error| Refusal::bad_input(error.to_string()))?;
    let decision =
        Decision { alerts: vec![next], transitions: vec![transition], tellings: Vec::new() };
    let mut commit = RoundCommit {
        based_on: Some(based_on),
        transitions: transition_rows(&decision)?,
        ..RoundCommit::default()
    };
    for alert in &decision.alerts {
        commit.alerts.push(record_of(alert, around.now)?);
    }
    house.store.commit_round(&commit)?;
    let local = until.with_timezone(&zone);
    Ok(Said {
        text: format!(
            "{} is put aside until {} by {}: {}\nWhat becomes worse than was told takes it off the shelf earlier.\n",
            args.id,
            local.format("%a %-d %b %Y %H:%M"),
            person.name,
            args.reason.trim()
        ),
        json: json!({
            "alert": args.id,
            "until": local.to_rfc3339(),
            "by": person.id,
            "reason": args.reason.trim(),
        }),
        exit: Exit::Done,
    })
}

fn person(house: &House, alert: &Alert, id: Option<&str>) -> Result<Person, Refusal> {
    let people = house.store.people()?;
    let found = match id {
        Some(id) => people.into_iter().find(|person| person.id.as_str() == id),
        None => people
            .into_iter()
            .filter(|person| person.role == Role::Manager && person.sites.contains(&alert.site))
            .min_by_key(|person| person.escalation_order),
    };
    found.ok_or_else(|| match id {
        Some(id) => {
            Refusal::bad_input(format!("there is no person {id}: give an id of the people's list"))
        }
        None => Refusal::bad_input(format!(
            "no manager answers for {}: say who puts it aside with --by",
            alert.site
        )),
    })
}
