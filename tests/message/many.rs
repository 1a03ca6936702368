//! Three hundred boats in one cold night.

use std::collections::BTreeMap;

use rimeward::domain::alert::Target;
use rimeward::domain::message::{
    OverLine, Phrases, PlaceLine, RolledUp, Worklist, compose_rollup, compose_worklist,
};
use rimeward::domain::weather::ForecastState;
use rimeward::domain::yard::Site;

use super::samples::{Fleet, fleet};
use crate::alert::world::{World, at, people, site};

#[test]
fn three_hundred_boats_are_one_letter_to_the_manager_and_one_to_each_owner() {
    let fleet = fleet(300);
    let mut owners: BTreeMap<String, usize> = BTreeMap::new();
    let mut rounds = Vec::new();
    for (_, _, _, notifications) in &fleet.boats {
        for notification in notifications {
            match &notification.rollup {
                Some(key) => rounds.push(key.clone()),
                None => *owners.entry(notification.recipient.to_string()).or_default() += 1,
            }
        }
    }
    assert_eq!(owners.len(), 300);
    assert!(owners.values().all(|count| *count == 1));
    assert_eq!(rounds.len(), 300);
    rounds.dedup();
    assert_eq!(rounds.len(), 1, "one recipient, one round: one letter");

    let letter = fleet.rollup(&Phrases::built_in().unwrap());
    assert!(letter.text.starts_with("300 boats at 2 places"), "{}", &letter.text[..80]);
    assert!(letter.text.contains("\n300 "), "every boat is named");
    assert_eq!(letter.text.matches("start by").count(), 300 + 1);
}

#[test]
fn places_that_go_blind_together_are_one_letter() {
    let places: Vec<_> = ["UPPER", "QUAY", "DOCK"]
        .iter()
        .map(|id| {
            let mut world = World::new(Target::Site { standing: Vec::new() });
            world.situation.site.id = (*id).into();
            world.situation.site.name = format!("Larch {id}");
            for person in &mut world.situation.people {
                person.sites.push((*id).into());
            }
            world.situation.forecast = ForecastState::Blind;
            let decision = world.round(at(17, 13));
            (world.situation.site, decision)
        })
        .collect();
    let items: Vec<RolledUp<'_>> = places
        .iter()
        .flat_map(|(site, decision)| {
            decision
                .notifications
                .iter()
                .filter(|notification| notification.recipient.as_str() == "P54")
                .map(move |notification| RolledUp { advice: notification, boat: None, site })
        })
        .collect();
    assert_eq!(items.len(), 3);
    let fleet = Fleet { people: people(), boats: Vec::new() };
    let phrases = Phrases::built_in().unwrap();
    let letter = fleet.with_context(&phrases, |context| compose_rollup(&items, context).unwrap());
    assert_eq!(letter.subject, "No usable forecast for 3 places");
    for id in ["UPPER", "QUAY", "DOCK"] {
        assert!(
            letter.text.contains(&format!("- Larch {id}: no usable forecast")),
            "{}",
            letter.text
        );
    }
}

/// A place of which the worklist has no figures.
const fn unread(site: &Site, forecast: ForecastState) -> PlaceLine<'_> {
    PlaceLine {
        site,
        low: None,
        issued_at: None,
        forecast,
        service: "",
        measured: None,
        snow: None,
        official: Vec::new(),
    }
}

fn without_boats<'a>(places: &'a [PlaceLine<'a>], over: &'a [OverLine]) -> Worklist<'a> {
    Worklist {
        at: at(17, 11),
        until: at(20, 11),
        places,
        boats: &[],
        cannot_say: &[],
        over,
        held: &[],
        plan: None,
        log_head: None,
    }
}

#[test]
fn a_worklist_without_boats_says_whether_that_is_known() {
    let upper = site();
    let fleet = Fleet { people: people(), boats: Vec::new() };
    let phrases = Phrases::built_in().unwrap();
    for (forecast, subject, head) in [
        (ForecastState::Fresh, "Worklist Thu 17 Nov: no work for the cold", "No boat needs work"),
        (ForecastState::Blind, "Worklist Thu 17 Nov: cannot say for 1 place", "CANNOT SAY for 1"),
    ] {
        let places = [unread(&upper, forecast)];
        let worklist = without_boats(&places, &[]);
        let letter =
            fleet.with_context(&phrases, |context| compose_worklist(&worklist, context).unwrap());
        assert_eq!(letter.subject, subject);
        assert!(letter.text.starts_with(head), "{}", letter.text);
        assert!(letter.text.contains("CANNOT SAY, no usable forecast"), "{}", letter.text);
    }
}

/// Every way in which an alert can have ended has its own words in the worklist; none sounds like another.
#[test]
fn a_worklist_says_how_each_alert_ended() {
    let upper = site();
    let places = [unread(&upper, ForecastState::Fresh)];
    let fleet = Fleet { people: people(), boats: Vec::new() };
    let phrases = Phrases::built_in().unwrap();
    let plain = OverLine {
        boat: "Second Biscuit".into(),
        place: "Larch Wharf".into(),
        done: false,
        passed: false,
        dropped: false,
        cancelled: false,
    };
    for (line, words) in [
        (OverLine { done: true, ..plain.clone() }, "recorded as done; not verified by us"),
        (OverLine { cancelled: true, ..plain.clone() }, "taken back: it was issued in error"),
        (OverLine { dropped: true, ..plain.clone() }, "no longer followed"),
        (OverLine { passed: true, ..plain.clone() }, "do not start, look and test first"),
        (plain.clone(), "over or no longer to be expected"),
    ] {
        let over = [line];
        let worklist = without_boats(&places, &over);
        let letter =
            fleet.with_context(&phrases, |context| compose_worklist(&worklist, context).unwrap());
        let flat = letter.text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(words), "{}", letter.text);
    }
}
