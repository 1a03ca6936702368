//! One group of ten members.

use super::*;
use crate::domain::boat::{Care, DrainPermission, Evidence};
use crate::domain::catalogue::{Catalogue, CoolingKind};
use crate::domain::risk::plan::boat::Scope;

const DAYS: usize = 5;

fn boat() -> Boat {
    Boat {
        id: "B02".into(),
        name: "Second Biscuit".into(),
        kind: "sail_saildrive".into(),
        cooling: CoolingKind::Raw,
        fuel: "diesel".into(),
        engines: 1,
        site: "UPPER".into(),
        hull_id: String::new(),
        length_m: None,
        instances: Vec::new(),
        location: "U-3".into(),
        owner: None,
        care: Care::Yard,
        drain_permission: DrainPermission::Yes,
        keys: String::new(),
        fitted: Vec::new(),
        fitting: Default::default(),
        volumes_l: Vec::new(),
        haul_date: None,
        planned_launch: None,
        work_ordered: String::new(),
        notes: String::new(),
    }
}

/// One circuit of ten members, damaged on these days, frozen through until then.
fn group(name: &str, days: [u8; 10], solid: Option<usize>) -> GroupWork {
    let catalogue = Catalogue::built_in().unwrap();
    let work = WorkTable::built_in(&catalogue).unwrap();
    let kind = catalogue.circuit(&name.into()).unwrap();
    let circuit = CircuitState {
        circuit: name.into(),
        instance: None,
        holds: Holds::Fresh,
        fitted: Default::default(),
        brimful: false,
        liquid: None,
        litres: 1.2,
        closed_pocket: false,
        read_at: None,
        separated: false,
        first_ice: None,
        slush: None,
        burst: None,
        evidence: Evidence::Recorded,
        since: None,
        because: Vec::new(),
        undone_by: None,
        open_questions: Vec::new(),
    };
    let place = work.group_of(&name.into(), &catalogue).unwrap();
    let at = "2022-11-22T22:00:00Z".parse().unwrap();
    let mut draft = Draft::new(10, DAYS);
    let pressing = Pressing {
        loss: 1000.0,
        tolerance: 0.05,
        over_in_h: Some(6),
        harm_in_h: Some(6),
        ice: false,
        solid: solid.map(|day| (day, at)),
    };
    let entry = work.entry("sail_saildrive", kind);
    draft.add((&circuit, kind), days.to_vec(), pressing, (false, false, entry));
    draft.finish(&boat(), &work, place, kind.drain_minutes, DAYS).unwrap()
}

#[test]
fn what_thaws_this_evening_and_freezes_again_at_night_is_due_today() {
    let mut leg = group("drive_water", [1, 1, 1, 1, 1, 1, 1, 1, 1, NEVER], Some(1));
    assert!(leg.refreezes_first);
    assert_eq!((leg.last_day, leg.thaws_on), (Some(0), 1));
    assert!(!Scope::Emergency(0).reaches(&leg), "nobody is there when it thaws");
    leg.watched = true;
    assert!(Scope::Emergency(0).reaches(&leg));
    // Where it holds until after the evening on which it has thawed, that day is early enough.
    let later = group("drive_water", [3, 3, 3, 3, 3, 3, NEVER, NEVER, NEVER, NEVER], Some(1));
    assert!(!later.refreezes_first);
    assert_eq!(later.last_day, Some(2));
    let thaws = group("drive_water", [2, 2, 2, 2, 2, 2, NEVER, NEVER, NEVER, NEVER], Some(1));
    assert_eq!((thaws.refreezes_first, thaws.last_day), (false, Some(1)));
}

#[test]
fn what_takes_product_puts_it_on_the_cart() {
    let leg = group("drive_water", [1; 10], None);
    assert_eq!(leg.doses, [("propylene glycol -100F".to_owned(), 1.2)]);
    let washer = group("washer_fluid", [1; 10], None);
    assert_eq!(washer.doses, [("winter washer mix".to_owned(), 1.2)]);
    assert_eq!(washer.product, None, "its own mix, not the antifreeze of the group");
    assert_eq!(group("raw_pump", [1; 10], None).doses, []);
}

#[test]
fn a_test_is_no_drain() {
    let coolant = group("closed_loop", [1; 10], None);
    assert_eq!(coolant.last_day_where(true), Some(0));
    assert_eq!(coolant.price_after(0, 2), 1000.0, "as dear as if nobody had looked");
    let pump = group("raw_pump", [1; 10], None);
    assert_eq!((pump.last_day_where(true), pump.price_after(0, 2)), (None, 0.0));
}
