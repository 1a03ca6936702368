//! Who hears of what: the people of the list by what they own, run and keep running.
//!
//! One rule goes through all of it: somebody hears. Where nobody owns a boat and nobody runs its place, whoever keeps this
//! service running does.

use std::collections::BTreeMap;

use super::person::{Person, Role};
use super::site::Site;
use crate::domain::boat::{Boat, Care, PersonId, SiteId};

/// The list of people.
pub type People = BTreeMap<PersonId, Person>;

/// Those who run a place, in the order in which they are told.
#[must_use]
pub fn managers<'a>(people: &'a People, site: &SiteId) -> Vec<&'a Person> {
    in_order(people.values().filter(|person| person.manages(site)))
}

/// All who have a role, wherever they have it.
pub fn all(people: &People, role: Role) -> impl Iterator<Item = &Person> {
    people.values().filter(move |person| person.role == role)
}

/// Of cold that endangers a boat: the owner, then those who run the place, in their order, then those who work there. Of a boat
/// that nobody answers for, the operators.
#[must_use]
pub fn of_freeze<'a>(people: &'a People, boat: &Boat, site: &SiteId) -> Vec<&'a Person> {
    let owner = boat.owner.as_ref().and_then(|id| people.get(id));
    let other = |person: &&Person| Some(&person.id) != boat.owner.as_ref();
    let managers = managers(people, site);
    let orphan = owner.is_none() && managers.is_empty();
    let technicians = people.values().filter(|person| person.works_at(site));
    let operators = all(people, Role::Operator).filter(|_| orphan);
    let others = managers.into_iter().chain(technicians).chain(operators).filter(other);
    owner.into_iter().chain(others).collect()
}

/// Of a place that cannot be seen: whoever keeps this service running there, who runs the place, and `counting`, who counts on
/// advice that stands; each once.
pub fn of_blindness<'a, 'p>(
    people: &'a People,
    site: &SiteId,
    counting: impl IntoIterator<Item = &'p PersonId>,
) -> Vec<&'a Person> {
    let operators = people.values().filter(|person| person.operates(site));
    let mut found: Vec<&Person> = operators.chain(managers(people, site)).collect();
    for id in counting {
        if let Some(person) = people.get(id)
            && !found.iter().any(|known| known.id == person.id)
        {
            found.push(person);
        }
    }
    found
}

/// Whoever hears first, and whoever is told next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FirstAndNext {
    /// In the order in which they are told.
    pub first: Vec<PersonId>,
    /// The same.
    pub next: Vec<PersonId>,
}

/// Of a heated place: who runs it, and next who works there; where nobody runs it, whoever keeps this service running.
#[must_use]
pub fn of_heat(people: &People, site: &SiteId) -> FirstAndNext {
    let ids = |people: Vec<&Person>| people.into_iter().map(|person| person.id.clone()).collect();
    let listed = |person: &&Person| person.role == Role::Operator && person.sites.contains(site);
    let groups = [
        managers(people, site),
        in_order(people.values().filter(listed)),
        in_order(all(people, Role::Operator)),
    ];
    let first = groups.into_iter().find(|group| !group.is_empty()).unwrap_or_default();
    let next = in_order(people.values().filter(|person| person.works_at(site)));
    FirstAndNext { first: ids(first), next: ids(next) }
}

/// Does somebody hear of a forecast that is older than it should be? Who keeps this service running there, and who counts on
/// advice that stands there.
#[must_use]
pub fn hears_of_aging(person: &Person, site: &SiteId, counts_on_advice: bool) -> bool {
    person.operates(site) || counts_on_advice
}

/// Of what the season brings to a boat, of which no forecast speaks yet: her owner; `None` where the yard sees to her or nobody
/// is listed.
#[must_use]
pub fn of_season<'a>(people: &'a People, boat: &Boat) -> Option<&'a Person> {
    let owner = boat.owner.as_ref().and_then(|owner| people.get(owner));
    owner.filter(|person| person.role == Role::Owner && boat.care != Care::Yard)
}

/// Where what is said once a season is about: the places of an owner's boats, or those that anybody else lists.
pub fn places_of_season<'a>(
    person: &Person,
    boats: &[&Boat],
    sites: &'a BTreeMap<SiteId, Site>,
) -> Vec<&'a Site> {
    let own = |id: &SiteId| match person.role {
        Role::Owner => boats.iter().any(|boat| boat.site == *id),
        _ => person.sites.contains(id),
    };
    sites.values().filter(|site| own(&site.id)).collect()
}

/// Who reads the worklist: each manager, of the places that they list, of all where they list none.
#[must_use]
pub fn reads_worklist_of(person: &Person, site: &SiteId) -> bool {
    person.role == Role::Manager && (person.sites.is_empty() || person.sites.contains(site))
}

/// Of what harms the service itself: whoever keeps it running, else every manager.
#[must_use]
pub fn of_damage(people: &People) -> Vec<&Person> {
    let operators: Vec<&Person> = all(people, Role::Operator).collect();
    if operators.is_empty() { all(people, Role::Manager).collect() } else { operators }
}

/// Of an answer that came by mail about a place: who runs it, but not `from`; else whoever keeps this service running.
#[must_use]
pub fn of_answer<'a>(people: &'a People, site: &SiteId, from: &PersonId) -> Vec<&'a Person> {
    let mut readers = managers(people, site);
    readers.retain(|reader| reader.id != *from);
    if readers.is_empty() { all(people, Role::Operator).collect() } else { readers }
}

/// Where a person has boats, or which places they list; all of them where there is none.
#[must_use]
pub fn places_of(person: &Person, boats: &[Boat], sites: &BTreeMap<SiteId, Site>) -> Vec<SiteId> {
    let own = boats.iter().filter(|boat| boat.owner.as_ref() == Some(&person.id));
    let mut places: Vec<SiteId> = person.sites.clone();
    places.extend(own.map(|boat| boat.site.clone()));
    places.retain(|site| sites.contains_key(site));
    if places.is_empty() {
        places.extend(sites.keys().cloned());
    }
    places.sort();
    places.dedup();
    places
}

/// Of what did not arrive at somebody: for each of their places the first manager of whom `is_reachable` is true, and every
/// operator of whom it is; each once, never `of` themselves.
#[must_use]
pub fn of_undeliverable(
    people: &People,
    (of, places): (&PersonId, &[SiteId]),
    is_reachable: impl Fn(&Person) -> bool,
) -> Vec<PersonId> {
    let other = |person: &&Person| person.id != *of && is_reachable(person);
    let first = |site: &SiteId| managers(people, site).into_iter().find(other);
    let mut found: Vec<PersonId> = Vec::new();
    for next in places.iter().filter_map(first).chain(all(people, Role::Operator).filter(other)) {
        if !found.contains(&next.id) {
            found.push(next.id.clone());
        }
    }
    found
}

fn in_order<'a>(people: impl Iterator<Item = &'a Person>) -> Vec<&'a Person> {
    let mut found: Vec<&Person> = people.collect();
    found.sort_by_key(|person| person.escalation_order);
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::boat::{CoolingKind, DrainPermission};
    use crate::domain::units::TemperatureScale;

    fn person(id: &str, role: Role, sites: &[&str], order: Option<u8>) -> Person {
        Person {
            id: id.into(),
            name: id.to_owned(),
            role,
            email: Some(format!("{}@example.org", id.to_lowercase())),
            phone: None,
            text_consent: false,
            consent_date: None,
            sites: sites.iter().map(|site| SiteId::from(*site)).collect(),
            quiet_from: None,
            quiet_to: None,
            escalation_order: order,
            tell_at_chance: None,
            units: TemperatureScale::C,
            charts: false,
        }
    }

    /// Owner O; managers M2 before M1 at QUAY, M3 at BARN; technician T at QUAY; operators for all and for BARN.
    fn people() -> People {
        let all = [
            person("O", Role::Owner, &[], None),
            person("M1", Role::Manager, &["QUAY"], Some(2)),
            person("M2", Role::Manager, &["QUAY"], Some(1)),
            person("M3", Role::Manager, &["BARN"], Some(1)),
            person("T", Role::Technician, &["QUAY"], None),
            person("X", Role::Operator, &[], None),
            person("Y", Role::Operator, &["BARN"], None),
        ];
        all.into_iter().map(|person| (person.id.clone(), person)).collect()
    }

    fn boat(owner: Option<&str>, site: &str) -> Boat {
        Boat {
            id: "B1".into(),
            name: "Applecart".to_owned(),
            kind: "sailboat_inboard".to_owned(),
            cooling: CoolingKind::Raw,
            fuel: "diesel".to_owned(),
            engines: 1,
            site: site.into(),
            hull_id: String::new(),
            length_m: None,
            location: String::new(),
            owner: owner.map(PersonId::from),
            care: Care::Owner,
            drain_permission: DrainPermission::Yes,
            keys: String::new(),
            fitted: Vec::new(),
            fitting: Default::default(),
            instances: Vec::new(),
            volumes_l: Vec::new(),
            haul_date: None,
            planned_launch: None,
            work_ordered: String::new(),
            notes: String::new(),
        }
    }

    fn ids(people: &[&Person]) -> Vec<String> {
        people.iter().map(|person| person.id.to_string()).collect()
    }

    fn names(people: &[PersonId]) -> Vec<&str> {
        people.iter().map(PersonId::as_str).collect()
    }

    #[test]
    fn of_a_freeze_the_owner_hears_then_the_yard_and_somebody_always() {
        let (people, quay) = (people(), SiteId::from("QUAY"));
        let hear = |owner, site: &str| ids(&of_freeze(&people, &boat(owner, site), &site.into()));
        assert_eq!(hear(Some("O"), "QUAY"), ["O", "M2", "M1", "T"]);
        assert_eq!(hear(None, "QUAY"), ["M2", "M1", "T"]);
        assert_eq!(hear(Some("M1"), "QUAY"), ["M1", "M2", "T"], "each once");
        assert_eq!(hear(Some("O"), "LOT"), ["O"]);
        assert_eq!(hear(None, "LOT"), ["X", "Y"], "of nobody's boat, whoever keeps this running");
        assert_eq!(
            hear(Some("gone"), "LOT"),
            ["X", "Y"],
            "an owner who is not listed reads nothing"
        );
        assert_eq!(ids(&managers(&people, &quay)), ["M2", "M1"]);
    }

    #[test]
    fn of_blindness_the_operator_the_manager_and_who_counts_on_us() {
        let people = people();
        let counting = [PersonId::from("O"), PersonId::from("M1"), PersonId::from("gone")];
        let hear = |site: &str| ids(&of_blindness(&people, &site.into(), &counting));
        assert_eq!(hear("QUAY"), ["X", "M2", "M1", "O"]);
        assert_eq!(hear("BARN"), ["X", "Y", "M3", "O", "M1"]);
    }

    #[test]
    fn of_heat_who_runs_the_place_and_next_who_works_there() {
        let mut people = people();
        let hear = |people: &People, site: &str| {
            let found = of_heat(people, &site.into());
            let text = |ids: &[PersonId]| names(ids).join(" ");
            (text(&found.first), text(&found.next))
        };
        assert_eq!(hear(&people, "QUAY"), ("M2 M1".into(), "T".into()));
        people.remove(&PersonId::from("M3"));
        assert_eq!(hear(&people, "BARN"), ("Y".into(), String::new()));
        assert_eq!(hear(&people, "LOT"), ("X Y".into(), String::new()));
    }

    #[test]
    fn of_age_the_operator_and_who_counts_on_us() {
        let people = people();
        let hears = |id: &str, site: &str, counts| {
            hears_of_aging(&people[&PersonId::from(id)], &site.into(), counts)
        };
        assert!(hears("X", "QUAY", false) && hears("Y", "BARN", false));
        assert!(!hears("Y", "QUAY", false) && !hears("M1", "QUAY", false));
        assert!(hears("M1", "QUAY", true) && hears("O", "QUAY", true));
    }

    #[test]
    fn of_the_season_only_an_owner_who_sees_to_her_boat() {
        let people = people();
        let mut own = boat(Some("O"), "QUAY");
        assert_eq!(of_season(&people, &own).map(|person| person.id.as_str()), Some("O"));
        own.care = Care::Yard;
        assert_eq!(of_season(&people, &own), None);
        assert_eq!(of_season(&people, &boat(Some("M1"), "QUAY")), None, "the yard's own boat");
    }

    #[test]
    fn worklists_damage_and_answers_are_read_by_those_who_run_things() {
        let mut people = people();
        let quay = SiteId::from("QUAY");
        let reads = |id: &str| reads_worklist_of(&people[&PersonId::from(id)], &quay);
        assert!(reads("M1") && !reads("M3") && !reads("X") && !reads("O"));
        assert!(reads_worklist_of(&person("M9", Role::Manager, &[], None), &quay), "all places");
        assert_eq!(ids(&of_answer(&people, &quay, &"M2".into())), ["M1"]);
        assert_eq!(ids(&of_answer(&people, &"BARN".into(), &"M3".into())), ["X", "Y"]);
        assert_eq!(ids(&of_damage(&people)), ["X", "Y"]);
        people.retain(|_, person| person.role != Role::Operator);
        assert_eq!(ids(&of_damage(&people)), ["M1", "M2", "M3"]);
    }

    #[test]
    fn what_did_not_arrive_goes_to_the_next_who_can_be_reached() {
        let people = people();
        let places = [SiteId::from("QUAY"), SiteId::from("BARN")];
        let next = |of: &str, down: &[&str]| {
            let reachable = |person: &Person| !down.contains(&person.id.as_str());
            of_undeliverable(&people, (&of.into(), &places), reachable)
        };
        assert_eq!(names(&next("O", &[])), ["M2", "M3", "X", "Y"]);
        assert_eq!(names(&next("M2", &[])), ["M1", "M3", "X", "Y"], "never to themselves");
        assert_eq!(names(&next("O", &["M2", "M3", "Y"])), ["M1", "X"]);
        assert!(next("O", &["M1", "M2", "M3", "X", "Y"]).is_empty());
    }
}
