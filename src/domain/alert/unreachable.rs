//! Kind `unreachable`: mail to a person does not arrive, and a danger may go untold. One alert per person; it closes when
//! mail arrives again or the address has been replaced. The next contacts are told, not the person.

use chrono::{DateTime, Utc};

use super::{Alert, CloseReason, Closing, Condition, Flat, Kind, Subject, Transition};
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::risk::Priority;

/// How a person can be reached.
#[derive(Debug, Clone, Copy)]
pub struct Reach<'a> {
    /// Who.
    pub person: &'a PersonId,
    /// The first of the places that the person answers for.
    pub site: &'a SiteId,
    /// The address on the list has refused the last letter because of the address.
    pub faulty: bool,
    /// The alert about this person that is not closed.
    pub open: Option<&'a Alert>,
    /// How many alerts about this person were closed before: numbers the next one.
    pub episodes_closed: u32,
}

/// Raises the alert, closes it, or (`None`) leaves things as they are. Pure.
#[must_use]
pub fn decide_reach(reach: &Reach<'_>, now: DateTime<Utc>) -> Option<(Alert, Transition)> {
    match (reach.open, reach.faulty) {
        (None, true) => {
            let subject = Subject::Person(reach.person.clone());
            let episode = reach.episodes_closed.saturating_add(1);
            let before = Alert::candidate(Kind::Unreachable, subject, reach.site.clone(), episode);
            let mut next = before.clone();
            // The operator's to mend; the danger itself has an alert of its own.
            next.condition = Condition::Active { priority: Priority::Medium };
            next.raised_at = Some(now);
            next.revision = 1;
            let why = "an address takes no mail";
            let transition = Transition::between(1, &before, &next, now, "rule", why, None);
            Some((next, transition))
        }
        (Some(open), false) if open.closed.is_none() => {
            let mut next = open.clone();
            let row = if open.flat() == Flat::Acknowledged { 10 } else { 13 };
            next.condition = Condition::Normal;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::alert::table;

    #[test]
    fn it_is_raised_once_and_closed_once_by_rows_of_the_table() {
        let (person, site) = (PersonId::from("P07"), SiteId::from("UPPER"));
        let now: DateTime<Utc> = "2024-01-10T05:00:00Z".parse().unwrap();
        let reach =
            Reach { person: &person, site: &site, faulty: true, open: None, episodes_closed: 1 };
        let (raised, first) = decide_reach(&reach, now).unwrap();
        assert_eq!(raised.id.as_str(), "unreachable-P07-2");
        let still = Reach { open: Some(&raised), ..reach };
        assert!(decide_reach(&still, now).is_none(), "told once");
        let well = Reach { faulty: false, ..still };
        let (closed, last) = decide_reach(&well, now).unwrap();
        assert!(closed.closed.is_some() && closed.revision == 2);
        let again = Reach { open: Some(&closed), ..well };
        assert!(decide_reach(&again, now).is_none(), "closed once");
        let (seen, _) = raised.acknowledge(PersonId::from("P54"), None, now).unwrap();
        let (_, after_answer) = decide_reach(&Reach { open: Some(&seen), ..well }, now).unwrap();
        for transition in [first, last, after_answer] {
            let row = table::row(transition.row).unwrap();
            assert!(row.allows(transition.from, transition.to), "{transition:?}");
        }
    }
}
