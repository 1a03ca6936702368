//! The invented yard, read through the ordinary intake.

use rimeward::adapters::intake::{Known, csv};
use rimeward::domain::boat::{Boat, LayupEvent};
use rimeward::domain::catalogue::Catalogue;
use rimeward::domain::yard::{Person, Site};

/// The yard of `config/demo`.
pub struct Yard {
    pub catalogue: Catalogue,
    pub sites: Vec<Site>,
    pub people: Vec<Person>,
    pub boats: Vec<Boat>,
    pub events: Vec<LayupEvent>,
}

const SITES: &[u8] = include_bytes!("../../config/demo/sites.csv");
const PEOPLE: &[u8] = include_bytes!("../../config/demo/people.csv");
const BOATS: &[u8] = include_bytes!("../../config/demo/boats.csv");
const EVENTS: &[u8] = include_bytes!("../../config/demo/layup_events.csv");

pub fn yard() -> Yard {
    let catalogue = Catalogue::built_in().unwrap();
    let sites = csv::sites(SITES, "sites.csv").unwrap().rows;
    let people = csv::people(PEOPLE, "people.csv").unwrap().rows;
    let known = Known::catalogue(&catalogue).with_sites(&sites);
    let boats = csv::boats(BOATS, "boats.csv", &known).unwrap().rows;
    let known = known.with_boats(&boats);
    let events = csv::events(EVENTS, "layup_events.csv", &known).unwrap().rows;
    Yard { sites, people, boats, events, catalogue }
}

#[test]
fn the_demo_files_are_read_whole() {
    let yard = yard();
    assert_eq!(
        (yard.sites.len(), yard.people.len(), yard.boats.len(), yard.events.len()),
        (6, 16, 12, 159)
    );
}

#[test]
fn every_circuit_has_a_thermal_class_that_the_physics_knows() {
    use rimeward::domain::physics::part::thermal_class;
    for kind in Catalogue::built_in().unwrap().circuits() {
        for class in [&kind.thermal_class, &kind.thermal_class_drained] {
            assert!(thermal_class(class).is_ok(), "{}: {class}", kind.id);
        }
    }
}
