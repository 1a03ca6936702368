//! What is done about mail that comes back: a bounce makes an address faulty, an answer acknowledges.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::deciding::{by_hand, managers_of};
use super::house::{House, ServiceError};
use super::letters::{Desk, Written, blank_row, label_of};
use crate::delivery::received::{BYTES_MAX, Received, Word, read};
use crate::domain::alert::Alert;
use crate::domain::boat::CircuitId;
use crate::domain::message::{Answered, compose_answered};
use crate::domain::yard::{Person, Role};
use crate::store::outbox::Posted;
use crate::store::{AlertFilter, AlertRecord, OutboxRow, RoundCommit};

/// Messages that are taken in one look at the inbox.
const MESSAGES_MOST: usize = 200;

/// What came of one message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// In words.
    pub words: String,
    /// Something has changed: somebody is not reached, or has answered.
    pub changed: bool,
}

/// Takes one message in.
///
/// # Errors
/// The store's, or an alert that cannot be read; the message is to be taken again then.
pub fn take(house: &House, bytes: &[u8], now: DateTime<Utc>) -> Result<Taken, ServiceError> {
    let quiet = |words: String| Ok(Taken { words, changed: false });
    let (token, received) = match read(bytes, &house.settings.mail.from) {
        Received::Foreign => return quiet("not to an address of ours: left alone".to_owned()),
        Received::Automatic { token } => (token, None),
        Received::Noticed { token, what } => {
            return quiet(format!("about letter {token}: {what}"));
        }
        Received::Bounced { token, why } => {
            let Some(letter) = house.store.letter_by_token(&token)? else {
                return quiet(format!("a bounce of {token}, which is no letter of ours"));
            };
            let changed = house.store.mark_bounced(letter.id, &why, now)?;
            let person = &letter.row.recipient;
            let words = format!("the address of {person} takes no mail: {why}");
            return Ok(Taken { words, changed });
        }
        Received::Answered { token, word, text } => (token, Some((word, text))),
    };
    let Some(letter) = house.store.letter_by_token(&token)? else {
        return quiet(format!("an answer to {token}, which is no letter of ours"));
    };
    let Some((word, text)) = received else {
        let person = &letter.row.recipient;
        return quiet(format!("a machine has answered for {person}: nobody has read anything"));
    };
    answered(house, &letter, (word, &text), now)
}

fn answered(
    house: &House,
    letter: &Posted,
    (word, text): (Option<Word>, &str),
    now: DateTime<Utc>,
) -> Result<Taken, ServiceError> {
    let yard = house.yard()?;
    let Some(person) = yard.people.get(&letter.row.recipient) else {
        let words = format!("{} has answered and is not on the list", letter.row.recipient);
        return Ok(Taken { words, changed: false });
    };
    let records = told_by(house, letter)?;
    let mut changes = Vec::new();
    if word.is_some() {
        for record in &records {
            let act = &|alert: &Alert, owner: Option<&_>| alert.answer(person, owner, None, now);
            changes.push(match by_hand(house, record, act, now)? {
                Ok(change) => format!("{}: {change}", record.id),
                Err(error) => error.to_string(),
            });
        }
    }
    if word.is_none_or(|word| word == Word::Yard) {
        pass_to_the_yard(house, letter, (person, word, text), records.first(), now)?;
    }
    let said =
        word.map_or_else(|| format!("{text:?}, which we cannot read"), |w| w.as_str().into());
    let changes =
        if changes.is_empty() { String::new() } else { format!("; {}", changes.join("; ")) };
    Ok(Taken {
        words: format!("{} {} answers {said}{changes}", person.id, person.name),
        changed: true,
    })
}

/// The alerts that a letter told of: one, or those of a round.
fn told_by(house: &House, letter: &Posted) -> Result<Vec<AlertRecord>, ServiceError> {
    if let Some(record) = house.store.alert(&letter.row.alert)? {
        return Ok(vec![record]);
    }
    let start = format!("rollup-{}-", letter.row.recipient);
    let Some(stamp) = letter.row.alert.strip_prefix(&start).and_then(|n| n.parse::<i64>().ok())
    else {
        return Ok(Vec::new());
    };
    let filter = AlertFilter { open: Some(true), ..AlertFilter::default() };
    let mut found = Vec::new();
    for record in house.store.alerts(&filter)? {
        let Ok(alert) = serde_json::from_value::<Alert>(record.document.clone()) else { continue };
        let ledger = alert.told.get(&letter.row.recipient);
        if ledger.is_some_and(|own| own.sent.iter().any(|sent| sent.at.timestamp() == stamp)) {
            found.push(record);
        }
    }
    Ok(found)
}

/// What a machine cannot settle reaches a person: a wish to the yard, a question, a word that we do not know.
fn pass_to_the_yard(
    house: &House,
    letter: &Posted,
    (person, word, text): (&Person, Option<Word>, &str),
    record: Option<&AlertRecord>,
    now: DateTime<Utc>,
) -> Result<(), ServiceError> {
    let desk = Desk::of(house)?;
    let yard = house.yard()?;
    let site = record.and_then(|record| yard.sites.get(&record.site));
    let Some(site) = site.or_else(|| yard.sites.values().next()) else { return Ok(()) };
    let mut readers: Vec<&Person> = managers_of(&site.id, &yard);
    if readers.is_empty() {
        readers = yard.people.values().filter(|one| one.role == Role::Operator).collect();
    }
    let label = |circuit: &CircuitId| label_of(house, circuit);
    let answered = Answered {
        name: &person.name,
        letter: &letter.row.subject,
        asks_yard: word == Some(Word::Yard),
        text,
    };
    let mut written = Written::default();
    for reader in readers.into_iter().filter(|reader| reader.id != person.id) {
        // Taken twice after a stop, it is one letter.
        let sum = text.bytes().fold(7_u32, |sum, byte| sum.wrapping_mul(31) ^ u32::from(byte));
        let about = format!("answer-{}-{sum:08x}", letter.id);
        let context = desk.context((reader, site), &label, now);
        let mail = compose_answered(&answered, &about, &context).map_err(|error| error.to_string());
        let row = OutboxRow {
            kind: "answer".to_owned(),
            ..blank_row(&desk, mail.as_ref().ok(), (&about, reader), now)
        };
        written.add(mail, row);
    }
    let commit = RoundCommit {
        letters: written.letters,
        unsendable: written.unsendable,
        ..RoundCommit::default()
    };
    house.store.commit_round(&commit)?;
    Ok(())
}

/// Takes what lies in `new` of the configured Maildir, and files it under `cur`, seen. What cannot be taken now stays.
///
/// # Errors
/// [`ServiceError::Told`]: the folder cannot be read; the store's.
pub fn look_into_inbox(house: &House, now: DateTime<Utc>) -> Result<Vec<Taken>, ServiceError> {
    let Some(inbox) = &house.settings.mail.inbox else { return Ok(Vec::new()) };
    let told = |path: &Path, error: std::io::Error| {
        ServiceError::Told(format!("mail.inbox: {}: {error}", path.display()))
    };
    let new = inbox.join("new");
    let entries = match std::fs::read_dir(&new) {
        Ok(entries) => entries,
        // Made by the relay with the first message.
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && inbox.is_dir() => {
            return Ok(Vec::new());
        }
        Err(error) => return Err(told(&new, error)),
    };
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.sort();
    let mut all = Vec::new();
    for path in paths.into_iter().filter(|path| path.is_file()).take(MESSAGES_MOST) {
        let taken = take(house, &message(&path).map_err(|error| told(&path, error))?, now)?;
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let cur = inbox.join("cur");
        std::fs::create_dir_all(&cur).map_err(|error| told(&cur, error))?;
        std::fs::rename(&path, cur.join(format!("{name}:2,S")))
            .map_err(|error| told(&path, error))?;
        tracing::info!("inbox: {}", taken.words);
        all.push(taken);
    }
    Ok(all)
}

/// A message, up to its longest.
fn message(path: &Path) -> std::io::Result<Vec<u8>> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    let most = u64::try_from(BYTES_MAX).unwrap_or(u64::MAX);
    std::fs::File::open(path)?.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}
