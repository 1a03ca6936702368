//! What is asked about a part, over every state that it can be in, and every letter about it: nothing that sinks a boat, lets
//! coolant or oil go, or touches what is frozen.

use rimeward::domain::alert::{Advice, Target};
use rimeward::domain::boat::{CircuitId, CoolingKind, Holds};
use rimeward::domain::catalogue::{Catalogue, Deed, DeedBoat, DeedCase, Deeds, Doer};
use rimeward::domain::message::{Context, Email, MessageKey, Phrases, compose};
use rimeward::domain::risk::{Consequence, Priority};

use super::samples::{cold_rows, notification, sender};
use crate::alert::world::{World, at};

const HOLDS: [Holds; 11] = [
    Holds::Fresh,
    Holds::Sea,
    Holds::Drained,
    Holds::Dry,
    Holds::Blend,
    Holds::Coolant,
    Holds::LubeClean,
    Holds::LubeWet,
    Holds::Charged,
    Holds::Unknown,
    Holds::Absent,
];

/// Words that order a part to be opened or emptied.
const ORDERS: [&str; 12] = [
    "drain", "drains", "drained", "empty", "emptied", "open", "opened", "pull", "unscrew", "lower",
    "let", "blow",
];

/// The first word of `text` that orders so.
pub fn order(text: &str) -> Option<&'static str> {
    let text = text.to_lowercase();
    let mut words = text.split(|c: char| !c.is_alphanumeric());
    words.find_map(|word| ORDERS.into_iter().find(|order| *order == word))
}

/// Everything that a deed says to anybody.
fn all_words(deed: &Deed) -> String {
    let of = |owner: bool| format!("{} / {}", deed.words(owner), deed.subject(owner));
    format!("{} / {} / {}", of(true), of(false), deed.list_words)
}

fn stays_full(kind: &str, holds: Holds) -> bool {
    matches!(kind, "loop" | "gear_oil" | "fluid" | "battery")
        || matches!(holds, Holds::Coolant | Holds::LubeClean | Holds::LubeWet | Holds::Charged)
}

/// What is wrong with the deed for one case.
fn fault(kind: &str, case: &DeedCase, deed: &Deed) -> Option<&'static str> {
    let said = all_words(deed);
    let hands_off = case.afloat && case.below;
    let no_order = order(&said).is_none();
    let rules = [
        (deed.id != "ask_yard", "no row of its own"),
        (!case.frozen || deed.words(true).contains("no start"), "frozen, and not held"),
        (
            !case.frozen || deed.words(false).contains("no start"),
            "frozen, and not held by the yard",
        ),
        (!case.frozen || no_order, "frozen, and worked on"),
        (!hands_off || no_order, "opened afloat"),
        (!hands_off || deed.who == Doer::Yard, "asked of an owner afloat"),
        (!hands_off || deed.is_hands_off(), "nothing to look at meanwhile"),
        (!hands_off || said.contains("technician"), "nobody to call afloat"),
        (!stays_full(kind, case.holds) || no_order, "coolant, oil or a battery let out"),
        (deed.who == Doer::Owner || order(deed.words(true)).is_none(), "ordered of an owner"),
    ];
    rules.into_iter().find(|(holds, _)| !holds).map(|(_, what)| what)
}

/// Every fault of a table, over every combination of states.
fn faults(deeds: &Deeds) -> Vec<String> {
    let mut found = Vec::new();
    for kind in deeds.kinds() {
        for holds in HOLDS {
            for bits in 0..8_u8 {
                let [afloat, below, frozen] = [1, 2, 4].map(|bit| bits & bit != 0);
                let case = DeedCase { holds, afloat, below, frozen };
                let deed = deeds.pick(kind, &case);
                found.extend(
                    fault(kind, &case, deed)
                        .map(|what| format!("{kind} {case:?}: {what}: {}", all_words(deed))),
                );
            }
        }
    }
    found
}

#[test]
fn every_state_of_every_part_has_a_deed_that_does_no_harm() {
    let deeds = Deeds::built_in().unwrap();
    assert_eq!(faults(&deeds), Vec::<String>::new());
    let catalogue = Catalogue::built_in().unwrap();
    let lost: Vec<_> = catalogue.circuits().iter().filter(|kind| !deeds.knows(&kind.id)).collect();
    assert!(lost.is_empty(), "{lost:?}");
}

#[test]
fn a_rule_that_is_switched_off_is_missed() {
    for rule in [
        "frozen_afloat",
        "frozen_hold",
        "afloat_yard",
        "test_loop",
        "test_coolant",
        "look_gear_oil",
        "look_oil",
        "look_fluid",
        "measure_battery",
        "measure_charge",
    ] {
        let kept = Deeds::TEXT.lines().filter(|line| !line.starts_with(&format!("{rule},")));
        let without = kept.collect::<Vec<_>>().join("\n");
        let deeds = Deeds::parse(&without).unwrap();
        assert!(!faults(&deeds).is_empty(), "{rule} guards nothing");
    }
}

#[test]
fn the_way_an_engine_is_cooled_decides_about_its_plugs() {
    let deeds = Deeds::built_in().unwrap();
    let ashore = |circuit: &str, cooling| {
        let boat = DeedBoat { afloat: false, cooling };
        deeds.of(&CircuitId::from(circuit), Holds::Unknown, boat, false).id.clone()
    };
    assert_eq!(ashore("block_raw", Some(CoolingKind::Raw)), "drain_raw");
    for circuit in ["block_raw", "manifold_raw", "engine_coil", "heater_core"] {
        assert_eq!(ashore(circuit, None), "cooling_asked", "{circuit}");
    }
    for circuit in ["engine_coil", "heater_core"] {
        assert_eq!(ashore(circuit, Some(CoolingKind::ClosedFull)), "test_loop", "{circuit}");
    }
}

/// The letter about one part alone.
struct Post {
    world: World,
    advice: Vec<Advice>,
    phrases: Phrases,
    catalogue: Catalogue,
    deeds: Deeds,
}

impl Post {
    fn new() -> Self {
        let mut world = World::boat();
        world.situation.settings.manager_from = Priority::Low;
        let now = at(17, 13);
        world.set_rows(cold_rows(at(18, 19), now, Priority::Medium));
        world.set_low(-6.2, at(19, 11));
        world.round(now - chrono::TimeDelta::hours(6));
        let decision = world.round(now);
        let advice = ["P02", "P51"].map(|person| notification(&decision, person).clone()).to_vec();
        let (phrases, catalogue) = (Phrases::built_in().unwrap(), Catalogue::built_in().unwrap());
        Self { world, advice, phrases, catalogue, deeds: Deeds::built_in().unwrap() }
    }

    fn write(&self, advice: &Advice, circuit: &CircuitId, case: &DeedCase, assumed: bool) -> Email {
        let mut advice = advice.clone();
        advice.facts.rows.truncate(1);
        advice.facts.near = 0;
        let row = &mut advice.facts.rows[0];
        row.circuit = circuit.clone();
        (row.holds, row.frozen_now, row.consequence) =
            (case.holds, case.frozen, Consequence::Severe);
        let Target::Boat { boat, state, .. } = &self.world.situation.target else { panic!() };
        let mut state = (**state).clone();
        (state.afloat, state.assumed_ashore) = (case.afloat && !assumed, assumed);
        let key = MessageKey::new(&[7; 32]);
        let people = &self.world.situation.people;
        let label = |circuit: &CircuitId| self.catalogue.circuit(circuit).unwrap().label.clone();
        let context = Context {
            phrases: &self.phrases,
            sender: &sender(),
            key: &key,
            person: people.iter().find(|person| person.id == advice.recipient).unwrap(),
            site: &self.world.situation.site,
            label: &label,
            date: advice.facts.at,
            picture: None,
        };
        compose(&advice, Some((&**boat, &state)), &context).unwrap()
    }
}

/// What a letter asks for, in one line.
fn asked(letter: &Email) -> String {
    let text = letter.text.split_whitespace().collect::<Vec<_>>().join(" ");
    let todo = text.split("What to do:").nth(1).unwrap_or_else(|| panic!("{text}"));
    let end = ["WARNING", "NOTICE", "Who:", "NOTE"].iter().filter_map(|mark| todo.find(mark)).min();
    let head = text.split("Chance:").next().unwrap();
    format!("{} / {head} / {}", letter.subject, &todo[..end.unwrap_or(todo.len())])
}

#[test]
fn no_letter_about_any_part_asks_for_what_must_not_be_done() {
    let post = Post::new();
    for kind in post.catalogue.circuits() {
        for (holds, bits) in [
            (Holds::Unknown, 0),
            (Holds::Unknown, 1),
            (Holds::Unknown, 2),
            (Holds::Unknown, 3),
            (Holds::Coolant, 0),
        ] {
            let [afloat, frozen] = [1, 2].map(|bit| bits & bit != 0);
            let boat = DeedBoat { afloat, cooling: Some(CoolingKind::Raw) };
            let deed = post.deeds.of(&kind.id, holds, boat, frozen);
            let case = DeedCase { holds, afloat, below: deed.is_hands_off(), frozen };
            for advice in &post.advice {
                let letter = post.write(advice, &kind.id, &case, afloat && bits == 3);
                // What a part is called is no order.
                let plain = |text: &str| text.replace(&kind.label, "part");
                let said = plain(&asked(&letter));
                let short = plain(letter.short.as_deref().unwrap_or_default());
                let name =
                    format!("{} {case:?} to {}: {said} / {short}", kind.id, advice.recipient);
                assert!(!said.contains("parts above"), "{name}");
                let hold = frozen || deed.is_hands_off() || holds == Holds::Coolant;
                assert!(!hold || order(&said).is_none() && order(&short).is_none(), "{name}");
                assert!(!frozen || said.contains("no start"), "{name}");
                if deed.is_hands_off() {
                    assert!(said.contains(&deed.look) && said.contains("technician"), "{name}");
                    assert!(short.contains(&deed.look), "{name}");
                }
            }
        }
    }
}
