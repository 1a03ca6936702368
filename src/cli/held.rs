//! `rimeward alerts held`, `hold`, `release`: letters to owners that wait for the yard to look at them first.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::found::{local, person_by, rfc};
use super::{CliError, CommandOutput, Exit, as_json, parse_time};
use crate::app::context::{AppContext, YardBook};
use crate::app::notify::Composer;
use crate::app::notify::held::{told, with_note};
use crate::app::ports::HeldLetters;
use crate::app::ports::{Held, HeldBy, Posted};
use crate::domain::alert::Advice;
use crate::domain::units::is_hidden;
use crate::domain::yard::Person;
use crate::views::alert::{HeldLine, HeldView};

/// Arguments of `alerts hold`.
#[derive(Debug, clap::Args)]
pub struct HoldArgs {
    /// Number of the letter, as `alerts held` shows it
    letter: i64,
    /// Until when: 2022-11-20T12:00 (time of the place)
    #[arg(long, value_name = "TIME")]
    until: String,
    /// Why, for whoever reads the log
    #[arg(long)]
    reason: String,
    /// Who, by the id of the list of people
    #[arg(long, value_name = "WHO")]
    by: String,
}

/// Arguments of `alerts release`.
#[derive(Debug, clap::Args)]
pub struct ReleaseArgs {
    /// Number of the letter, as `alerts held` shows it
    letter: i64,
    /// A word of the yard that stands at the head of the letter
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Who, by the id of the list of people
    #[arg(long, value_name = "WHO")]
    by: String,
}

/// Lists the letters that wait.
///
/// # Errors
/// [`CliError`]: the store.
pub fn list(
    (store, yard): (&dyn HeldLetters, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let mut text = String::new();
    let mut letters = Vec::new();
    for letter in store.held_letters(now)? {
        let Some((held, advice)) = parts(&letter) else { continue };
        let zone = yard.zone(&advice.site);
        let owner =
            yard.people.get(&letter.row.recipient).map_or("", |person| person.name.as_str());
        text += &format!(
            "{:5}  to {} {owner}: {}\n       goes {}, can be held until {}\n",
            letter.id,
            letter.row.recipient,
            letter.row.subject,
            local(letter.row.due_at, zone),
            local(held.most, zone),
        );
        if let Some(by) = &held.by {
            text += &format!("       {}: {}\n", by.person, by.why);
        }
        let (by, why) = held.by.map(|by| (by.person, by.why)).unzip();
        letters.push(HeldLine {
            letter: letter.id,
            alert: letter.row.alert,
            recipient: letter.row.recipient,
            subject: letter.row.subject,
            goes: rfc(letter.row.due_at, zone),
            most: rfc(held.most, zone),
            by,
            why,
        });
    }
    if letters.is_empty() {
        "no letter waits for the yard\n".clone_into(&mut text);
    } else {
        text += "Let one go: rimeward alerts release NUMBER --by WHO [--note TEXT]. Hold one: rimeward alerts hold NUMBER --until TIME --reason TEXT --by WHO.\n";
    }
    Ok(CommandOutput { text, json: as_json(&HeldView { letters })?, exit: Exit::Done })
}

/// Holds one longer, within its limit.
///
/// # Errors
/// [`CliError`]: no such letter, somebody who does not run the place, a time past the limit.
pub fn hold(
    args: &HoldArgs,
    (store, yard): (&dyn HeldLetters, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let letter = find(store, args.letter, now)?;
    let (held, advice) = parts(&letter).ok_or_else(|| gone(args.letter))?;
    let by = said(yard, &advice, &args.by, &args.reason)?;
    let zone = yard.zone(&advice.site);
    let until = parse_time(&args.until, zone)?;
    if until <= now {
        return Err(CliError::bad_input("--until lies in the past: to let it go use release"));
    }
    if until > held.most {
        return Err(CliError::bad_input(format!(
            "letter {} can be held until {} at the latest, so that the owner has time left; name an earlier time",
            args.letter,
            local(held.most, zone)
        )));
    }
    if !store.hold_letter(letter.id, (until, &by), None, now)? {
        return Err(gone(args.letter));
    }
    Ok(CommandOutput {
        text: format!(
            "letter {} is held until {} by {}: {}\n",
            letter.id,
            local(until, zone),
            by.person,
            by.why
        ),
        json: json!({ "letter": letter.id, "until": rfc(until, zone), "by": by.person, "reason": by.why }),
        exit: Exit::Done,
    })
}

/// Lets one go, with a word of the yard if there is one.
///
/// # Errors
/// [`CliError`]: no such letter, somebody who does not run the place.
pub fn release(
    args: &ReleaseArgs,
    (house, yard): (&AppContext, &YardBook),
    now: DateTime<Utc>,
) -> Result<CommandOutput, CliError> {
    let letter = find(&*house.store, args.letter, now)?;
    let (held, advice) = parts(&letter).ok_or_else(|| gone(args.letter))?;
    let by = said(yard, &advice, &args.by, args.note.as_deref().unwrap_or("let go"))?;
    let rewritten = match &args.note {
        Some(_) => {
            let composer = Composer::of(&house.settings, &*house.mailer)?;
            Some(with_note(house, &composer, &letter, &by)?)
        }
        None => None,
    };
    if !house.store.hold_letter(letter.id, (now, &by), rewritten.as_ref(), now)? {
        return Err(gone(args.letter));
    }
    let zone = yard.zone(&advice.site);
    let goes = held.free.max(now);
    Ok(CommandOutput {
        text: format!("letter {} goes {}\n", letter.id, local(goes, zone)),
        json: json!({ "letter": letter.id, "goes": rfc(goes, zone), "by": by.person, "note": args.note }),
        exit: Exit::Done,
    })
}

fn find(store: &dyn HeldLetters, number: i64, now: DateTime<Utc>) -> Result<Posted, CliError> {
    let waiting = store.held_letters(now)?;
    waiting.into_iter().find(|letter| letter.id == number).ok_or_else(|| gone(number))
}

fn parts(letter: &Posted) -> Option<(Held, Advice)> {
    let held = letter.row.held.clone()?;
    let advice = told(&held)?;
    Some((held, advice))
}

fn gone(number: i64) -> CliError {
    CliError::bad_input(format!(
        "no letter {number} waits for the yard (any more): rimeward alerts held lists those that do"
    ))
}

/// What a person of the yard says about a letter.
fn said(yard: &YardBook, advice: &Advice, by: &str, words: &str) -> Result<HeldBy, CliError> {
    let person = person_by(yard, by)?;
    if !runs(person, advice) {
        return Err(CliError::bad_input(format!(
            "{by} does not run {}: a manager of the place can hold its letters or let them go",
            advice.site
        )));
    }
    if words.trim().is_empty() {
        return Err(CliError::bad_input("say why, for whoever reads the log"));
    }
    if let Some(mark) = words.chars().find(|letter| is_hidden(*letter)) {
        return Err(CliError::bad_input(format!(
            "the text has a character that cannot be seen (U+{:04X}): type it anew",
            u32::from(mark)
        )));
    }
    let why = words.split_whitespace().collect::<Vec<_>>().join(" ");
    Ok(HeldBy { person: person.id.clone(), why })
}

fn runs(person: &Person, advice: &Advice) -> bool {
    person.manages(&advice.site)
}
