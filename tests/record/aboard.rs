//! What is aboard: how the engine is cooled decides its circuits, the answer stands in the log, full vessels are hard, and
//! nothing that holds water is missing.

use std::collections::BTreeSet;

use rimeward::adapters::intake::{Known, csv};
use rimeward::domain::boat::{
    Boat, CircuitId, CoolingKind, Evidence, Fitting, Holds, LayupEvent, Mark, fold,
};
use rimeward::domain::catalogue::{Catalogue, Confinement};
use rimeward::domain::risk::judge::interrupts;

use super::build::{World, at_new_year, boat, event, folded, sterndrive};

fn imported(table: &str) -> (Vec<Boat>, Vec<String>) {
    let catalogue = Catalogue::built_in().unwrap();
    let known = Known::catalogue(&catalogue);
    let read = csv::boats(table.as_bytes(), "boats.csv", &known).unwrap();
    (read.rows, read.notes)
}

/// What a boat has without a single entry, each circuit with its mark.
fn aboard(boat: &Boat) -> Vec<(String, Mark)> {
    let state = at_new_year(boat, &[]).0;
    assert!(state.circuits.iter().all(|circuit| circuit.holds == Holds::Unknown));
    state.circuits.iter().map(|one| (one.circuit.to_string(), one.fitted)).collect()
}

fn names(boat: &Boat) -> BTreeSet<String> {
    aboard(boat).into_iter().map(|(name, _)| name).collect()
}

const KINDS: [(&str, &str, &str); 6] = [
    ("raw", "block_raw;manifold_raw;coolers_raw", "closed_loop;hx_raw"),
    ("raw_outboard", "ob_cool", "block_raw;manifold_raw;closed_loop;hx_raw"),
    ("half", "closed_loop;hx_raw;manifold_raw", "block_raw"),
    ("closed_full", "closed_loop;hx_raw;exhaust_riser", "block_raw;manifold_raw"),
    ("electric", "", "block_raw;manifold_raw;closed_loop;hx_raw;exhaust_wet;ob_cool"),
    ("unknown", "block_raw;manifold_raw;coolers_raw;closed_loop;hx_raw;exhaust_riser", ""),
];

#[test]
fn cooling_decides_the_circuits_of_the_engine_whatever_kind_of_boat() {
    let catalogue = Catalogue::built_in().unwrap();
    for fitout in catalogue.fitouts() {
        for (kind, has, lacks) in KINDS {
            let row = format!(
                "boat_id,boat_type,cooling_kind,site_id,engine_count\nB,{},{kind},YARD,1\n",
                fitout.kind
            );
            let (boats, _) = imported(&row);
            let got = names(&boats[0]);
            for id in has.split(';').filter(|id| !id.is_empty()) {
                assert!(got.contains(id), "{} {kind} lacks {id}: {got:?}", fitout.kind);
            }
            for id in lacks.split(';').filter(|id| !id.is_empty()) {
                assert!(!got.contains(id), "{} {kind} has {id}", fitout.kind);
            }
            // What is kept and what is folded are the same list.
            let kept: BTreeSet<String> = boats[0].fitted.iter().map(ToString::to_string).collect();
            assert_eq!(kept, got, "{} {kind}", fitout.kind);
        }
    }
}

#[test]
fn jets_and_personal_watercraft_are_raw_until_somebody_says_otherwise() {
    for kind in ["jet_boat", "personal_watercraft"] {
        let (boats, notes) = imported(&format!("boat_id,boat_type,site_id\nB,{kind},YARD\n"));
        assert_eq!(boats[0].cooling, CoolingKind::Raw);
        assert!(
            names(&boats[0]).contains("block_raw") && !names(&boats[0]).contains("closed_loop")
        );
        assert!(notes.iter().any(|note| note.contains("cooled")), "{notes:?}");
    }
}

#[test]
fn unknown_cooling_is_asked_once_and_the_answer_ends_it() {
    let (boats, _) =
        imported("boat_id,boat_type,cooling_kind,site_id\nB,diesel_cruiser,unknown,YARD\n");
    let of_cooling = |entries: &[super::build::Entry], known: &str| {
        let state = folded(&boats[0], entries, "2022-12-31T12:00", known).0;
        let asked = state.open_questions.iter().filter(|ask| ask.contains("cooled")).count();
        (asked, state.cooling, state.circuits.iter().any(|one| one.circuit.as_str() == "block_raw"))
    };
    let answer = event("1", "2022-11-01T10:00", "question_answered").method("cooling: closed_full");
    let unknown = (1, CoolingKind::Unknown, true);
    assert_eq!(of_cooling(&[], "2023-01-01T00:00"), unknown);
    let told = [answer.clone()];
    assert_eq!(of_cooling(&told, "2023-01-01T00:00"), (0, CoolingKind::ClosedFull, false));
    // As it was known the day before, nobody had said it.
    assert_eq!(of_cooling(&told, "2022-10-31T10:00"), unknown);
    // An answer that is withdrawn is none.
    let void = event("2", "2022-11-02T10:00", "correction").method("void");
    let mut void = void;
    void.0.corrects = Some("1".into());
    assert_eq!(of_cooling(&[answer, void], "2023-01-01T00:00"), unknown);
    // Neither is one that doubts, or is about something else.
    for words in ["not sure, maybe raw", "pink at all taps", "yes"] {
        let answer = event("1", "2022-11-01T10:00", "question_answered").method(words);
        assert_eq!(of_cooling(&[answer], "2023-01-01T00:00"), unknown, "{words}");
    }
}

/// An answer about the engine settles no other question.
#[test]
fn an_answer_about_cooling_leaves_other_questions_open() {
    let signed = event("1", "2022-10-20T10:00", "signed_off").method("winterized");
    let before = at_new_year(&sterndrive(), std::slice::from_ref(&signed)).0.open_questions;
    assert!(!before.is_empty());
    let cooled = event("2", "2022-10-21T10:00", "question_answered").method("cooling: raw");
    let after = at_new_year(&sterndrive(), &[signed, cooled]).0.open_questions;
    assert_eq!(before, after);
}

#[test]
fn a_stated_list_stands_and_where_the_cooling_differs_it_is_asked() {
    let mut own = boat(CoolingKind::Raw, 1, "raw_pump;closed_loop;head");
    own.fitting.cooling_said = true;
    let marks = aboard(&own);
    let mark = |id: &str| marks.iter().find(|(name, _)| name == id).map(|(_, mark)| *mark);
    assert_eq!(mark("closed_loop"), Some(Mark::Stated));
    assert_eq!(mark("block_raw"), Some(Mark::Added));
    let asked = |entries: &[super::build::Entry]| at_new_year(&own, entries).0.fitting_questions;
    let open = asked(&[]);
    assert_eq!(open.len(), 2, "{open:?}");
    assert!(open[0].contains("engine block") && open[0].contains("are they aboard?"), "{open:?}");
    assert!(open[1].contains("engine coolant") && open[1].contains("which is right?"), "{open:?}");
    let told = event("1", "2022-10-21T10:00", "question_answered");
    let none = told.clone().on("closed_loop").method("not fitted");
    let state = at_new_year(&own, std::slice::from_ref(&none));
    assert_eq!(state.one("closed_loop").holds, Holds::Absent);
    assert_eq!(asked(&[none]).len(), 1);
    let there = told.on("block_raw;manifold_raw;coolers_raw").method("fitted");
    assert_eq!(asked(&[there]).len(), 1);
    // What somebody has listed and the cooling allows is not argued away.
    let no_head = event("1", "2022-10-21T10:00", "question_answered").on("head").method("none");
    assert_eq!(at_new_year(&own, &[no_head]).one("head").holds, Holds::Unknown);
}

#[test]
fn riser_and_elbow_go_along_with_the_wet_exhaust() {
    let own = boat(
        CoolingKind::Raw,
        1,
        "raw_pump;block_raw;manifold_raw;coolers_raw;exhaust_wet;exhaust_riser",
    );
    let blown = event("1", "2022-10-20T10:00", "blend_flush").method("filled_after_drain");
    let with = |entry: super::build::Entry| {
        let mut entry = entry;
        entry.0.fluid = Some("PG".to_owned());
        entry.0.label = Some("-50F".to_owned());
        entry.0.litres_in = Some(20.0);
        entry
    };
    let whole = at_new_year(&own, &[with(blown.clone())]);
    let riser = whole.one("exhaust_riser");
    assert_eq!((riser.holds, riser.evidence), (Holds::Blend, Evidence::Claimed));
    let named = with(blown.on("exhaust_wet;exhaust_riser"));
    assert_eq!(
        at_new_year(&own, std::slice::from_ref(&named)).one("exhaust_riser").evidence,
        Evidence::Recorded
    );
    // What undoes the exhaust undoes it too.
    let wet = event("2", "2022-11-02T10:00", "flushed_fresh").on("exhaust_wet");
    assert_eq!(at_new_year(&own, &[named, wet]).one("exhaust_riser").holds, Holds::Fresh);
}

fn state_of(own: &Boat, circuit: &str, entries: &[super::build::Entry]) -> (Confinement, bool) {
    let catalogue = Catalogue::built_in().unwrap();
    let kind = catalogue.circuit(&circuit.into()).unwrap();
    let state = at_new_year(own, entries);
    let circuit = state.one(circuit);
    (circuit.confinement(kind), interrupts(circuit, kind, false))
}

#[test]
fn a_full_heater_is_a_sealed_vessel_and_tanks_are_where_they_are_full_to_the_vent() {
    let own = boat(
        CoolingKind::Raw,
        1,
        "block_raw;manifold_raw;coolers_raw;water_heater;pot_tank;holding",
    );
    assert_eq!(state_of(&own, "water_heater", &[]), (Confinement::Hard, true));
    let refilled = event("1", "2022-10-20T10:00", "potable_refilled").on("water_heater;pot_tank");
    assert_eq!(
        state_of(&own, "water_heater", std::slice::from_ref(&refilled)),
        (Confinement::Hard, true)
    );
    assert_eq!(
        state_of(&own, "pot_tank", std::slice::from_ref(&refilled)),
        (Confinement::Open, false)
    );
    let brimful = refilled.clone().method("filled to the vent");
    assert_eq!(
        state_of(&own, "pot_tank", std::slice::from_ref(&brimful)),
        (Confinement::Hard, true)
    );
    let mut percent = refilled;
    percent.0.percent = Some(100.0);
    assert_eq!(state_of(&own, "pot_tank", &[percent]).0, Confinement::Hard);
    let used = event("1", "2022-10-20T10:00", "head_used").on("holding").method("overfull");
    assert_eq!(state_of(&own, "holding", &[used]).0, Confinement::Hard);
    let drained = event("2", "2022-10-25T10:00", "heater_bypassed_drained").on("water_heater");
    assert_eq!(state_of(&own, "water_heater", &[drained]), (Confinement::Open, false));
    let emptied = event("2", "2022-10-25T10:00", "tank_emptied").on("pot_tank");
    assert_eq!(state_of(&own, "pot_tank", &[brimful, emptied]), (Confinement::Open, false));
}

#[test]
fn afloat_an_opened_seacock_wets_what_is_behind_it() {
    let own = boat(
        CoolingKind::Raw,
        1,
        "block_raw;manifold_raw;coolers_raw;raw_pump;strainer;intake_hose;seacock;head",
    );
    let drained =
        event("1", "2022-10-20T10:00", "drained").on("raw_pump;strainer;intake_hose;head");
    let opened = event("2", "2022-10-25T10:00", "seacock_opened");
    let afloat = event("0", "2022-10-01T10:00", "launched").at("BERTH");
    let state = at_new_year(&own, &[afloat, drained.clone(), opened.clone()]);
    for part in ["raw_pump", "strainer", "intake_hose", "seacock"] {
        assert_eq!(state.one(part).holds, Holds::Sea, "{part}");
    }
    assert_eq!(state.one("head").holds, Holds::Drained);
    let ashore = at_new_year(&own, &[drained, opened]);
    assert_eq!(ashore.one("strainer").holds, Holds::Drained);
}

/// Each by its id, and each with a source.
#[test]
fn nothing_that_holds_water_is_missing() {
    let catalogue = Catalogue::built_in().unwrap();
    for id in [
        "exhaust_riser",
        "steer_cooler",
        "gear_cooler",
        "head_vacuum",
        "macerator",
        "y_valve",
        "vented_loop",
        "accumulator",
        "water_filter",
        "grey_tank",
        "galley_sea_pump",
        "fridge_raw",
        "gyro_raw",
        "hyd_cooler",
        "seal_feed",
        "bilge_pump_hose",
        "icebox_drain",
        "fish_box",
        "rudder_void",
        "keel_sump",
        "mast_step",
        "board_trunk",
        "core_void",
        "drive_trim",
        "trim_tabs",
        "trailer_brakes",
    ] {
        let kind = catalogue.circuit(&CircuitId::from(id)).unwrap_or_else(|| panic!("no {id}"));
        assert!(!kind.source.is_empty(), "{id}");
    }
    for (words, id) in [
        ("mixing elbow", "exhaust_riser"),
        ("power steering cooler", "steer_cooler"),
        ("diverter valve", "y_valve"),
        ("grey water tank", "grey_tank"),
        ("dripless hose", "seal_feed"),
        ("centerboard trunk", "board_trunk"),
        ("power trim", "drive_trim"),
    ] {
        assert_eq!(catalogue.circuits_in_words(words), Ok(vec![CircuitId::from(id)]), "{words}");
    }
}

#[test]
fn use_of_the_small_systems_undoes_what_was_done_for_them() {
    let all = "ac_raw;ballast;livewell;fish_box;washdown;watermaker;washer;dishwasher;grey_tank;pot_lines;accumulator";
    let mut own = boat(CoolingKind::Raw, 0, all);
    own.engines = 0;
    for (kind, method, wet, holds) in [
        ("ac_run", "harbour", "ac_raw", Holds::Sea),
        ("ballast_filled", "lake", "ballast", Holds::Fresh),
        ("livewell_filled", "lake", "livewell;fish_box", Holds::Fresh),
        ("washdown_used", "harbour", "washdown", Holds::Sea),
        ("watermaker_run", "harbour", "watermaker", Holds::Sea),
        ("washer_run", "", "washer;dishwasher;pot_lines;accumulator;grey_tank", Holds::Fresh),
    ] {
        let dry = event("1", "2022-10-20T10:00", "blown_out").on(all);
        let used = event("2", "2022-11-01T10:00", kind).method(method);
        let state = at_new_year(&own, &[dry, used]);
        for part in wet.split(';') {
            let one = state.one(part);
            assert_eq!(
                (one.holds, one.undone_by.is_some()),
                (holds, part != "grey_tank"),
                "{kind} {part}"
            );
        }
        let rest = state.0.circuits.iter().filter(|one| !wet.contains(one.circuit.as_str()));
        assert!(
            rest.filter(|one| one.circuit.as_str() != "grey_tank")
                .all(|one| one.holds == Holds::Dry),
            "{kind}"
        );
    }
}

#[test]
fn a_plug_drains_the_bilge_and_no_keel() {
    let mut own = boat(
        CoolingKind::ClosedFull,
        1,
        "closed_loop;hx_raw;exhaust_riser;bilge;hull_void;keel_sump",
    );
    let plug = event("1", "2022-10-20T10:00", "plug_out").point("garboard");
    for (kind, void) in [("sail_shaft", Holds::Unknown), ("pontoon_outboard", Holds::Drained)] {
        own.kind = kind.to_owned();
        for plug in [plug.clone(), event("1", "2022-10-20T10:00", "plug_out")] {
            let pointed = plug.0.point.is_some();
            let state = at_new_year(&own, &[plug]);
            assert_eq!(state.one("bilge").holds, Holds::Drained);
            assert_eq!(state.one("keel_sump").holds, Holds::Unknown);
            assert_eq!(
                state.one("hull_void").holds,
                if pointed { Holds::Unknown } else { void },
                "{kind}"
            );
        }
    }
}

/// Boats as an older program kept them: no marks, and of a raw-cooled engine no block where the list was guessed.
#[test]
fn what_stands_in_a_store_is_marked_anew() {
    let catalogue = Catalogue::built_in().unwrap();
    let (boats, _) =
        imported("boat_id,boat_type,engine_desc,site_id\nB,,V6 sterndrive with generator,YARD\n");
    let mut old = boats[0].clone();
    old.fitting = Fitting::default();
    old.fitted.retain(|id| id.as_str() != "block_raw" && id.as_str() != "coolers_raw");
    let text = serde_json::to_string(&old)
        .unwrap()
        .replace(",\"fitting\":{\"marks\":[],\"cooling_said\":false}", "");
    assert!(!text.contains("fitting"), "{text}");
    let old: Boat = serde_json::from_str(&text).unwrap();
    assert!(!old.is_marked());
    let new = old.marked_anew(&catalogue);
    let mark = |id: &str| new.mark_of(&id.into());
    assert_eq!((mark("block_raw"), mark("raw_pump")), (Mark::Added, Mark::Always));
    assert_eq!((mark("water_heater"), mark("gen_raw")), (Mark::Often, Mark::Stated));
    assert!(!new.cooling_is_known() && new.is_marked());
    let again = new.clone().marked_anew(&catalogue);
    assert_eq!(again.fitted, new.fitted);
    let state = fold::<LayupEvent>(
        &new,
        &World,
        &[],
        "2022-12-31T12:00:00Z".parse().unwrap(),
        "2022-12-31T12:00:00Z".parse().unwrap(),
        &catalogue,
    );
    assert!(state.circuits.iter().any(|one| one.circuit.as_str() == "block_raw"));
    assert_eq!(state.open_questions.iter().filter(|ask| ask.contains("cooled")).count(), 1);
}
