//! Kind `unreachable`: what we had to tell a person does not arrive, and a danger may go untold. One alert per person; it
//! closes when mail arrives again or the address has been replaced. The next contacts are told, not the person.

use chrono::{DateTime, Utc};

use super::{
    Alert, AlertId, Annunciation, CloseReason, Closing, Condition, Flat, Kind, PassedOn, Response,
    Subject, Transition,
};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::risk::Priority;

/// How a person can be reached.
#[derive(Debug, Clone, Copy)]
pub struct Reach<'a> {
    /// Who.
    pub person: &'a PersonId,
    /// The first of the places that the person answers for.
    pub site: &'a SiteId,
    /// The newest letter that did not reach them; `None` where all did.
    pub missed: Option<Missed>,
    /// What is said of it; empty where all arrived.
    pub late: &'a [Late],
    /// Who can be turned to; may be nobody.
    pub contacts: &'a [PersonId],
    /// The alert about this person that is not closed.
    pub open: Option<&'a Alert>,
    /// How many alerts about this person were closed before: numbers the next one.
    pub episodes_closed: u32,
}

/// Why mail does not reach somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// No address is listed.
    NoAddress,
    /// The address takes no mail.
    Address,
    /// The server refuses what we send.
    Refused,
    /// The letter could not be written at all.
    Unwritten,
    /// It has waited for too long.
    Waits,
}

impl Trouble {
    /// The name of its phrase.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::NoAddress => "no_address",
            Self::Address => "address",
            Self::Refused => "refused",
            Self::Unwritten => "unwritten",
            Self::Waits => "waits",
        }
    }

    /// Is it for whoever keeps the list of people, and not for the operator?
    #[must_use]
    pub const fn is_the_address(self) -> bool {
        matches!(self, Self::NoAddress | Self::Address)
    }
}

/// A letter that did not arrive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Late {
    /// Why.
    pub trouble: Trouble,
    /// The address.
    pub address: String,
    /// What the server or the writer said.
    pub why: String,
    /// What it was about.
    pub subject: String,
    /// When it was put into the outbox.
    pub queued_at: DateTime<Utc>,
    /// When it failed, or began to wait for too long.
    pub since: DateTime<Utc>,
}

/// What a next contact is told of one person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Who did not get our letters.
    pub person: PersonId,
    /// The alert about them.
    pub alert: AlertId,
    /// Its revision.
    pub revision: u32,
    /// A danger that presses may be untold.
    pub pressing: bool,
    /// The newest letter and the subjects of all since the last word; `None`: mail reaches them again.
    pub missed: Option<(Late, Vec<String>)>,
    /// Since when the alert had been open.
    pub since: DateTime<Utc>,
}

/// What a letter about several people is called in the outbox.
#[must_use]
pub fn round_name(contact: &PersonId, at: DateTime<Utc>) -> String {
    format!("unreached-{contact}-{}", at.timestamp())
}

/// What did not arrive, over all letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Missed {
    /// When the newest letter about a danger failed; older ones were passed on already.
    pub newest_danger: Option<DateTime<Utc>>,
    /// One of them was pressing.
    pub pressing: bool,
}

/// Raises the alert, adds to it what else did not arrive, closes it, or (`None`) leaves things as they are. Pure.
///
/// Whatever changes while the person cannot be reached is to be passed on to [`Reach::contacts`]; what is closed, to
/// everybody in [`Alert::passed_on`].
#[must_use]
pub fn decide_reach(reach: &Reach<'_>, now: DateTime<Utc>) -> Option<(Alert, Transition)> {
    match (reach.open, reach.missed) {
        (None, Some(missed)) => {
            let subject = Subject::Person(reach.person.clone());
            let episode = reach.episodes_closed.saturating_add(1);
            let before = Alert::candidate(Kind::Unreachable, subject, reach.site.clone(), episode);
            let mut next = before.clone();
            next.raised_at = Some(now);
            pass_on(&mut next, missed, reach.contacts, now);
            let why = "what we wrote did not arrive";
            let transition = Transition::between(1, &before, &next, now, "rule", why, None);
            Some((next, transition))
        }
        (Some(open), Some(missed)) if open.closed.is_none() => {
            let last = open.passed_on.last().map(|passed| passed.at);
            let news = missed.newest_danger.is_some_and(|at| last.is_none_or(|last| at > last));
            if !news || reach.contacts.is_empty() {
                return None;
            }
            let row = match open.flat() {
                Flat::Unacknowledged | Flat::Acknowledged => 6,
                Flat::Shelved => 16,
                _ => return None,
            };
            let mut next = open.clone();
            next.annunciation = Annunciation::Enabled;
            next.response = Response::Unacknowledged;
            pass_on(&mut next, missed, reach.contacts, now);
            let why = "something else did not arrive";
            let transition = Transition::between(row, open, &next, now, "rule", why, None);
            Some((next, transition))
        }
        (Some(open), None) if open.closed.is_none() => {
            let mut next = open.clone();
            let row = if open.flat() == Flat::Acknowledged { 10 } else { 13 };
            next.condition = Condition::Normal;
            next.annunciation = Annunciation::Enabled;
            next.returned_at = Some(now);
            next.closed = Some(Closing { at: now, reason: CloseReason::Returned });
            next.revision = open.revision.saturating_add(1);
            let why = "mail arrives again, or the address was replaced";
            let transition = Transition::between(row, open, &next, now, "rule", why, None);
            Some((next, transition))
        }
        _ => None,
    }
}

/// As pressing as the danger that went untold: that one waits for nobody.
fn pass_on(next: &mut Alert, missed: Missed, contacts: &[PersonId], now: DateTime<Utc>) {
    let priority = if missed.pressing { Priority::High } else { Priority::Medium };
    next.condition = Condition::Active { priority };
    next.revision = next.revision.saturating_add(1);
    next.passed_on.extend(contacts.iter().map(|to| PassedOn { to: to.clone(), at: now }));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::alert::table;

    fn at(hour: i64) -> DateTime<Utc> {
        let start: DateTime<Utc> = "2024-01-10T05:00:00Z".parse().unwrap();
        start + chrono::TimeDelta::hours(hour)
    }

    #[test]
    fn it_is_raised_once_and_closed_once_by_rows_of_the_table() {
        let (person, site) = (PersonId::from("P07"), SiteId::from("UPPER"));
        let contacts = [PersonId::from("P51")];
        let missed = Missed { newest_danger: Some(at(0)), pressing: false };
        let reach = Reach {
            person: &person,
            site: &site,
            missed: Some(missed),
            late: &[],
            contacts: &contacts,
            open: None,
            episodes_closed: 1,
        };
        let (raised, first) = decide_reach(&reach, at(0)).unwrap();
        assert_eq!(raised.id.as_str(), "unreachable-P07-2");
        let still = Reach { open: Some(&raised), ..reach };
        assert!(decide_reach(&still, at(1)).is_none(), "told once");
        let well = Reach { missed: None, ..still };
        let (closed, last) = decide_reach(&well, at(1)).unwrap();
        assert!(closed.closed.is_some() && closed.revision == 2);
        let again = Reach { open: Some(&closed), ..well };
        assert!(decide_reach(&again, at(1)).is_none(), "closed once");
        let (seen, _) = raised.acknowledge(PersonId::from("P54"), None, at(1)).unwrap();
        let (_, after_answer) = decide_reach(&Reach { open: Some(&seen), ..well }, at(2)).unwrap();
        // The next danger that does not arrive is passed on too, whoever has answered the first.
        let worse = Missed { newest_danger: Some(at(3)), pressing: true };
        let next = Reach { open: Some(&seen), missed: Some(worse), ..reach };
        let (more, update) = decide_reach(&next, at(3)).unwrap();
        assert_eq!((more.revision, more.passed_on.len()), (2, 2));
        assert_eq!(more.condition, Condition::Active { priority: Priority::High });
        assert!(decide_reach(&Reach { contacts: &[], ..next }, at(3)).is_none(), "to nobody");
        for transition in [first, last, after_answer, update] {
            let row = table::row(transition.row).unwrap();
            assert!(row.allows(transition.from, transition.to), "{transition:?}");
        }
    }
}
