//! What is done about mail that comes back: a bounce makes an address faulty, an answer acknowledges.

mod cooling;
mod inbox;
mod word;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::alerts::by_hand::by_hand;
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::{Composer, Written, label_of};
use crate::app::ports::AlertStore;
use crate::app::ports::{AlertFilter, AlertRecord, Posted, Received, RoundCommit};
use crate::domain::alert::Alert;
use crate::domain::alert::action::Posting;
use crate::domain::alert::told::Sent;
use crate::domain::boat::CircuitId;
use crate::domain::message::words::one_line;
use crate::domain::message::{Answered, compose_answered};
use crate::domain::yard::{Person, recipients};

/// So long an answer that is passed on is worth reading.
const KEPT: TimeDelta = TimeDelta::days(4);

pub use inbox::{Looked, look_into_inbox};
use word::Word;

/// Answers to one letter that are passed on in a day: whoever has the letter could write without end.
const PASSED_ON_MOST: u32 = 5;
/// Letters of an answer, and of an address, that are shown.
const SHOWN_LETTERS: usize = 200;
const NAME_LETTERS: usize = 80;

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
pub fn take(house: &AppContext, bytes: &[u8], now: DateTime<Utc>) -> Result<Taken, ServiceError> {
    let quiet = |words: String| Ok(Taken { words, changed: false });
    let (token, received) =
        match house.mailer.read(bytes, &house.settings.mail.from).map_err(ServiceError::Message)? {
            Received::Foreign => return quiet("not to an address of ours: left alone".to_owned()),
            Received::Automatic { token } => (token, None),
            Received::Noticed { token, what } => {
                return quiet(format!("about letter {token}: {what}"));
            }
            Received::Bounced { token, fault, why } => {
                let Some(letter) = house.store.letter_by_token(&token)? else {
                    return quiet(format!("a bounce of {token}, which is no letter of ours"));
                };
                let changed = house.store.mark_bounced(letter.id, (fault, &why), now)?;
                let known = if changed { "" } else { " (known already)" };
                let words =
                    format!("our letter to {} came back: {why}{known}", letter.row.recipient);
                return Ok(Taken { words, changed });
            }
            Received::Answered { token, from, text } => (token, Some((from, text))),
        };
    let Some(letter) = house.store.letter_by_token(&token)? else {
        return quiet(format!("an answer to {token}, which is no letter of ours"));
    };
    let Some((from, text)) = received else {
        let person = &letter.row.recipient;
        return quiet(format!("a machine has answered for {person}: nobody has read anything"));
    };
    answered(house, &letter, (from.as_deref(), &text), now)
}

/// What counts is one word, from the reader's own address, to what they were last told. All else is for people: it changes
/// nothing and is passed on as it was written.
fn answered(
    house: &AppContext,
    letter: &Posted,
    (from, text): (Option<&str>, &str),
    now: DateTime<Utc>,
) -> Result<Taken, ServiceError> {
    let yard = house.yard()?;
    let Some(person) = yard.people.get(&letter.row.recipient) else {
        let words = format!("{} has answered and is not on the list", letter.row.recipient);
        return Ok(Taken { words, changed: false });
    };
    let records = told_by(&*house.store, letter)?;
    let word = Word::first_of(text);
    // Asked to do it, the yard hears all that was written with it.
    let is_clear = word == Some(Word::Yard) || Word::stands_alone(text, &person.name);
    let own = [Some(letter.row.address.as_str()), person.email.as_deref()];
    let is_own =
        from.is_some_and(|from| own.iter().flatten().any(|known| known.eq_ignore_ascii_case(from)));
    if is_own {
        let boats = records.iter().filter_map(|told| told.record.boat.as_ref());
        let heard = cooling::Heard { house, yard: &yard, person, now };
        if let Some(words) = heard.answer(&boats.collect::<Vec<_>>(), text)? {
            let words = format!("{} {} {words}", person.id, person.name);
            return Ok(Taken { words, changed: true });
        }
    }
    let counts = word.filter(|_| is_clear && is_own);
    let (mut changes, mut is_seen) = (Vec::new(), counts.is_some());
    if counts.is_some() {
        for told in &records {
            if told.is_outdated {
                is_seen = false;
                changes.push(format!("{} has become worse since that letter", told.record.id));
                continue;
            }
            let act = &|alert: &Alert, owner: Option<&_>| alert.answer(person, owner, None, now);
            changes.push(match by_hand(house, &told.record, act, now)? {
                Ok(change) => format!("{}: {change}", told.record.id),
                Err(error) => error.to_string(),
            });
        }
    }
    let mut said = match (counts, word) {
        (Some(word), _) => format!("answers {}", word.as_str()),
        (None, Some(word)) if !is_own => format!(
            "has an answer from {}, which is not their address: {}",
            one_line(from.unwrap_or("nobody"), NAME_LETTERS),
            word.as_str()
        ),
        _ => format!("answers {:?}, which is for people to read", one_line(text, SHOWN_LETTERS)),
    };
    if !is_seen || counts == Some(Word::Yard) {
        let answer = Answered {
            name: &person.name,
            phone: person.phone.as_deref(),
            address: &letter.row.address,
            letter: &letter.row.subject,
            asks_yard: word == Some(Word::Yard),
            is_seen,
            stranger: from.filter(|_| !is_own),
            text,
        };
        said += pass_on(house, letter, (person, answer), records.first(), now)?;
    }
    for change in changes {
        said = said + "; " + &change;
    }
    Ok(Taken { words: format!("{} {} {said}", person.id, person.name), changed: true })
}

/// An alert that a letter told of.
struct ToldOf {
    record: AlertRecord,
    /// The reader was told of a later revision since.
    is_outdated: bool,
}

/// The alerts that a letter told of: one, or those of a round.
fn told_by(store: &dyn AlertStore, letter: &Posted) -> Result<Vec<ToldOf>, ServiceError> {
    let reader = &letter.row.recipient;
    let newest = |record: &AlertRecord, of: &dyn Fn(&Sent) -> bool| {
        let alert = serde_json::from_value::<Alert>(record.document.clone()).ok()?;
        let sent = &alert.told.get(reader)?.sent;
        let own = sent.iter().rfind(|one| of(one))?;
        Some(sent.last().is_some_and(|last| last.revision > own.revision))
    };
    if let Some(record) = store.alert(&letter.row.alert)? {
        let own = |sent: &Sent| sent.revision == letter.row.revision;
        let is_outdated = newest(&record, &own).unwrap_or(false);
        return Ok(vec![ToldOf { record, is_outdated }]);
    }
    let start = format!("rollup-{reader}-");
    let Some(stamp) = letter.row.alert.strip_prefix(&start).and_then(|n| n.parse::<i64>().ok())
    else {
        return Ok(Vec::new());
    };
    let filter = AlertFilter { open: Some(true), ..AlertFilter::default() };
    let told = store.alert_records(&filter)?.into_iter().filter_map(|record| {
        let is_outdated = newest(&record, &|sent| sent.at.timestamp() == stamp)?;
        Some(ToldOf { record, is_outdated })
    });
    Ok(told.collect())
}

/// What a machine cannot settle reaches a person: a wish to the yard, a question, a word that we do not know. Gives what to
/// say of it beside.
fn pass_on(
    house: &AppContext,
    letter: &Posted,
    (person, answered): (&Person, Answered<'_>),
    told: Option<&ToldOf>,
    now: DateTime<Utc>,
) -> Result<&'static str, ServiceError> {
    let about = format!("answer-{}-", letter.id);
    if house.store.letters_about(&about, now - TimeDelta::days(1))? >= PASSED_ON_MOST {
        return Ok("; too many answers to this letter today: read it in the inbox");
    }
    let composer = Composer::of(&house.settings, &*house.mailer)?;
    let yard = house.yard()?;
    let site = told.and_then(|told| yard.sites.get(&told.record.site));
    let Some(site) = site.or_else(|| yard.sites.values().next()) else { return Ok("") };
    let readers = recipients::of_answer(&yard.people, &site.id, &person.id);
    let label = |circuit: &CircuitId| label_of(&house.catalogue, circuit);
    // Taken twice after a stop, it is one letter.
    let sum = answered.text.bytes().fold(7_u32, |sum, b| sum.wrapping_mul(31) ^ u32::from(b));
    let about = format!("{about}{sum:08x}");
    let mut written = Written::default();
    for reader in readers {
        let context = composer.context((reader, site), &label, now);
        let mail = compose_answered(&answered, &about, &context).map_err(|error| error.to_string());
        let posting = Posting::named(about.clone(), "answer", KEPT, now);
        written.post_at_once((&*house.mailer, &composer), &posting, reader, mail);
    }
    let commit = RoundCommit {
        letters: written.letters,
        unsendable: written.unsendable,
        ..RoundCommit::default()
    };
    house.store.commit_round(&commit)?;
    Ok("; passed on")
}
