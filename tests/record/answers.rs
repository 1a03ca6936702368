//! Corrections, answers, spring and what was seen: one rule at a time.

use rimeward::domain::boat::{Evidence, Holds, corrects_something};

use super::build::{Entry, at_new_year, event, folded, sterndrive};

fn drained() -> Entry {
    event("1", "2022-10-20T09:00", "drained").on("block_raw;manifold_raw").probed().minutes(20.0)
}

fn noted(mut entry: Entry, note: &str) -> Entry {
    entry.0.note = Some(note.to_owned());
    entry
}

#[test]
fn void_in_any_of_its_usual_words_withdraws() {
    let correct = |method: &str| {
        let void = event("2", "2022-10-21T09:00", "correction").corrects("1").method(method);
        at_new_year(&sterndrive(), &[drained(), void]).one("block_raw").holds
    };
    for method in
        ["void", "void - wrong boat", "entered in error", "strike", "Struck out", "duplicate"]
    {
        assert_eq!(correct(method), Holds::Unknown, "{method}");
    }
    for method in ["not void", "run_warm", "filled_after_drain"] {
        assert_eq!(correct(method), Holds::Drained, "{method}");
    }
}

#[test]
fn a_corrected_date_moves_the_entry_and_one_that_changes_nothing_is_told_from_it() {
    let run = event("2", "2022-10-18T10:00", "engine_run").method("hose");
    let before = at_new_year(&sterndrive(), &[drained(), run.clone()]);
    assert_eq!(before.one("block_raw").holds, Holds::Drained);
    let moved =
        event("3", "2022-10-25T10:00", "correction").corrects("2").known("2022-10-26T10:00");
    let after = at_new_year(&sterndrive(), &[drained(), run.clone(), moved.clone()]);
    assert_eq!(after.one("block_raw").holds, Holds::Fresh, "the run was after the drain");
    assert!(corrects_something(&moved.0, &run.0));
    let empty = event("4", "2022-10-27T10:00", "correction").corrects("2");
    assert!(!corrects_something(&empty.0, &run.0));
    assert!(!corrects_something(&empty.method("hose").0, &run.0), "the same as before");
}

#[test]
fn yes_to_a_run_makes_the_raw_path_unknown_and_no_brings_back_what_a_remark_took() {
    let ran = noted(event("2", "2022-10-22T09:00", "engine_oil_changed"), "ran 5 min on muffs");
    let wet = at_new_year(&sterndrive(), &[drained(), ran.clone()]);
    assert_eq!(wet.one("block_raw").holds, Holds::Fresh);
    let answer = |text: &str| {
        let answer = event("3", "2022-10-24T09:00", "question_answered").method(text);
        at_new_year(&sterndrive(), &[drained(), ran.clone(), answer])
    };
    let no = answer("no").one("block_raw").clone();
    assert_eq!((no.holds, no.evidence), (Holds::Drained, Evidence::Probed));
    let yes = answer("yes").one("block_raw").clone();
    assert_eq!(yes.holds, Holds::Unknown);
    assert!(yes.open_questions.join("; ").contains("when was the engine run"), "{yes:?}");
}

#[test]
fn an_answer_that_answers_nothing_stays_open() {
    let asked = noted(event("2", "2022-10-22T09:00", "question_asked"), "run since lay-up?");
    let open = |answer: Entry| {
        let state = at_new_year(&sterndrive(), &[drained(), asked.clone(), answer]).0;
        let block = state.circuits.iter().find(|c| c.circuit.as_str() == "block_raw").unwrap();
        (state.open_questions.iter().any(|ask| ask.contains("not answered yet")), block.holds)
    };
    let answer = event("3", "2022-10-24T09:00", "question_answered");
    assert_eq!(open(answer.clone()), (true, Holds::Drained));
    assert_eq!(open(answer.clone().method("no")), (false, Holds::Drained));
    assert_eq!(open(answer.method("yes")), (false, Holds::Unknown));
}

#[test]
fn spring_asks_once_about_the_boat_and_whether_the_tank_is_filled() {
    let spring = event("2", "2023-04-10T10:00", "recommissioned");
    let at = |log: &[Entry]| folded(&sterndrive(), log, "2023-05-01T12:00", "2023-12-31T12:00");
    let gear = event("1", "2022-10-10T10:00", "gear_oil_changed").on("gearcase").method("clear");
    let state = at(&[gear.clone(), spring.clone()]);
    assert_eq!(state.one("gearcase").holds, Holds::LubeClean);
    assert_eq!(state.one("gearcase").evidence, Evidence::Claimed);
    let asks = state.0.open_questions.join("; ");
    assert!(asks.contains("what else of the winter's work") && asks.contains("tank filled again"));
    let answer = event("3", "2023-04-12T10:00", "question_answered").method("no, still empty");
    let asks = at(&[gear.clone(), spring, answer]).0.open_questions.join("; ");
    assert!(!asks.contains("tank filled again"), "{asks}");
    // A run in spring reaches the raw path; what was done in that spring already is not of the winter.
    let late = event("4", "2023-03-20T10:00", "gear_oil_changed").on("gearcase").method("clear");
    let run = event("5", "2023-04-10T10:00", "engine_run").method("hose");
    assert_eq!(at(&[late, run.clone()]).one("gearcase").evidence, Evidence::Recorded);
    assert_eq!(at(&[gear, run]).one("gearcase").evidence, Evidence::Claimed);
}

#[test]
fn ice_where_it_was_too_warm_for_it_voids_the_figure_and_asks_about_the_same_jug() {
    let fill = |id: &str, at: &str, part: &str| {
        let mut fill = event(id, at, "blend_flush").on(part).jug("PG", "-100F").sheet("7");
        fill.0.litres_in = Some(if part == "block_raw" { 12.0 } else { 2.0 });
        fill.method("filled_after_drain")
    };
    let mut ice = event("5", "2022-12-01T09:00", "ice_found").on("manifold_raw");
    ice.0.reading_value = Some(-4.0);
    ice.0.reading_unit = Some("C".to_owned());
    let filled = [
        drained(),
        fill("2", "2022-10-20T10:00", "block_raw"),
        fill("3", "2022-10-20T10:05", "manifold_raw"),
    ];
    let state = at_new_year(&sterndrive(), &[&filled[..], &[ice.clone()]].concat());
    let manifold = state.one("manifold_raw");
    assert!(manifold.first_ice.is_none() && manifold.evidence <= Evidence::Claimed, "{manifold:?}");
    let block = state.one("block_raw").open_questions.join("; ");
    assert!(block.contains("same product and sheet"), "{block}");
    ice.0.reading_value = Some(-60.0);
    let cold = at_new_year(&sterndrive(), &[&filled[..], &[ice]].concat());
    assert!(cold.one("manifold_raw").first_ice.is_some(), "there it should be slush");
}

#[test]
fn the_litres_of_one_bank_that_are_missing_are_asked_about() {
    let of = |litres: f64| {
        let log = [drained().on("block_raw;manifold_raw;intake_hose").litres_out(litres)];
        let state = at_new_year(&sterndrive(), &log);
        let block = state.one("block_raw").clone();
        (block.closed_pocket, block.because.join("; ").contains("not accounted for"))
    };
    // 16 + 3 + 2 L are fitted; one bank of the block has 8.
    assert_eq!(of(20.0), (false, false));
    assert_eq!(of(12.8), (true, true));
    assert_eq!(of(4.0), (true, false), "far too little has words of its own");
}

#[test]
fn litres_of_two_drains_are_added_up_and_the_same_figure_twice_is_not() {
    let drains = |first: f64, second: f64, later: &str| {
        let of = |id, at, litres| {
            event(id, at, "drained").on("block_raw;manifold_raw").litres_out(litres)
        };
        let log = [of("1", "2022-10-20T09:00", first), of("2", later, second)];
        at_new_year(&sterndrive(), &log).one("block_raw").closed_pocket
    };
    // 16 + 3 L are fitted; one bank of the block has 8.
    assert!(!drains(11.0, 7.5, "2022-10-20T10:00"), "18.5 of 19 L are out");
    assert!(drains(10.0, 10.0, "2022-10-20T09:05"), "that is the same water told twice");
    assert!(drains(7.0, 2.0, "2022-10-21T09:00"), "10 L are still in");
}

#[test]
fn a_remark_stands_beside_the_state() {
    let state = at_new_year(&sterndrive(), &[noted(drained(), "ok AB")]);
    assert!(state.one("block_raw").because.join("; ").contains("remark: ok AB"));
}
