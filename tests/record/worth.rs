//! What a figure is worth: a reading, litres, a grade. Each of these called a part better protected than the entry bears out.

use rimeward::domain::boat::{CoolingKind, Evidence, Holds};

use super::build::{Entry, Folded, at_new_year, boat, event, sterndrive};

pub fn asked(state: &Folded, circuit: &str) -> String {
    state.one(circuit).open_questions.join("; ")
}

fn why(state: &Folded, circuit: &str) -> String {
    state.one(circuit).because.join("; ")
}

pub fn drained_block() -> Entry {
    event("1", "2022-10-20T09:00", "drained").on("block_raw").probed().minutes(20.0)
}

pub fn filled(litres: f64) -> Entry {
    let mut filled =
        event("2", "2022-10-20T09:30", "blend_flush").on("block_raw").jug("PG", "-100F");
    filled.0.litres_in = Some(litres);
    filled.method("filled_after_drain")
}

pub fn sampled(id: &str, minute: u32, value_c: f64, point: &str) -> Entry {
    let at = format!("2022-10-20T09:{minute}");
    event(id, &at, "block_sampled").on("block_raw").read("PG", value_c, "PG", point)
}

#[test]
fn a_sample_of_the_drained_side_does_not_speak_for_the_undrained_one() {
    let log =
        [drained_block().point("port drain"), filled(8.0), sampled("3", 35, -30.0, "port drain")];
    let state = at_new_year(&sterndrive(), &log);
    let block = state.one("block_raw");
    assert!(block.evidence <= Evidence::Claimed && block.closed_pocket, "{block:?}");
    assert!(asked(&state, "block_raw").contains("what about the others"));
}

#[test]
fn of_two_sides_that_were_sampled_the_weaker_stands() {
    let first = |first: f64, second: f64| {
        let log = [
            drained_block(),
            filled(8.0),
            sampled("3", 35, first, "block port drain"),
            sampled("4", 40, second, "block stbd drain"),
        ];
        at_new_year(&sterndrive(), &log).brief("block_raw")
    };
    assert_eq!(first(-30.0, -12.0), (Holds::Blend, Evidence::Measured, Some(-12.0)));
    assert_eq!(first(-12.0, -30.0), (Holds::Blend, Evidence::Measured, Some(-12.0)));
}

#[test]
fn what_was_filled_in_counts_by_its_litres() {
    let of = |litres: f64| at_new_year(&sterndrive(), &[drained_block(), filled(litres)]);
    let (usual, little) = (of(8.0), of(1.0));
    // About 8 L go into a drained V8: common practice, no source.
    assert_eq!(usual.one("block_raw").evidence, Evidence::Recorded);
    assert_eq!(little.one("block_raw").evidence, Evidence::Claimed);
    assert!(why(&little, "block_raw").contains("only 1 L were put into"));
    let ice = |state: &Folded| state.one("block_raw").first_ice.unwrap().value();
    assert!(ice(&little) > ice(&usual) + 5.0, "{} {}", ice(&little), ice(&usual));
}

/// The curves end at 0.6 by mass: -51.1 C for propylene glycol by the tables of first ice.
#[test]
fn no_reading_is_colder_than_what_it_can_be_a_reading_of() {
    for (label, value_c, measured) in [
        ("-100F", -31.0, true),
        ("-100F", -90.0, false),
        ("-50F", -12.0, true),
        ("-50F", -40.0, false),
    ] {
        let flush = event("2", "2022-10-20T09:30", "blend_flush").on("block_raw").jug("PG", label);
        let log = [
            drained_block(),
            flush.method("filled_after_drain"),
            sampled("3", 40, value_c, "block drains"),
        ];
        let state = at_new_year(&sterndrive(), &log);
        let block = state.one("block_raw");
        assert_eq!(block.evidence == Evidence::Measured, measured, "{label} {value_c}: {block:?}");
        let first_ice = block.first_ice.unwrap().value();
        assert!(measured || first_ice > -34.0, "{label} {value_c}: {first_ice}");
    }
    let closed = boat(CoolingKind::ClosedFull, 1, "closed_loop;hx_raw");
    let test = event("1", "2022-10-20T09:00", "loop_tested").on("closed_loop");
    let state = at_new_year(&closed, &[test.read("EG", -90.0, "EG", "expansion tank")]);
    assert!(state.one("closed_loop").evidence <= Evidence::Recorded);
}

#[test]
fn what_is_read_hours_after_the_flow_is_the_mufflers() {
    let flush = event("1", "2022-10-25T09:20", "blend_flush").on("raw_pump;manifold_raw");
    let mut flush = flush.jug("PG", "-100F").method("run_warm");
    flush.0.thermostat_open = Some("yes".to_owned());
    flush.0.litres_in = Some(6.0);
    let read = |at: &str| {
        let read = event("2", at, "outlet_measured").on("raw_pump;manifold_raw");
        let log = [flush.clone(), read.read("PG", -31.0, "PG", "exhaust")];
        at_new_year(&sterndrive(), &log).one("manifold_raw").evidence
    };
    assert_eq!(read("2022-10-25T09:30"), Evidence::Measured);
    assert_eq!(read("2022-10-25T17:20"), Evidence::Recorded);
}

#[test]
fn a_grade_without_its_figure_is_no_more_than_written_down() {
    let drained = event("1", "2022-10-20T09:00", "drained").on("manifold_raw").minutes(20.0);
    let state = at_new_year(&sterndrive(), &[drained.graded(Evidence::Measured)]);
    assert_eq!(state.one("manifold_raw").evidence, Evidence::Recorded);
    assert!(asked(&state, "manifold_raw").contains("probed"));
}

#[test]
fn a_reading_without_a_number_shows_nothing() {
    let mut read = event("1", "2022-10-20T09:00", "outlet_measured").on("manifold_raw");
    read.0.note = Some("refractometer broken".to_owned());
    let state = at_new_year(&sterndrive(), &[read.graded(Evidence::Measured).point("exhaust")]);
    assert_eq!(state.one("manifold_raw").holds, Holds::Unknown);
    let bare = event("1", "2022-10-20T09:00", "blend_flush").on("raw_pump");
    let state = at_new_year(&sterndrive(), &[bare]);
    assert_eq!(state.one("raw_pump").evidence, Evidence::Claimed);
    assert!(why(&state, "raw_pump").contains("a product that is not named"));
}

#[test]
fn a_drained_loop_takes_its_coil_along() {
    let closed = boat(CoolingKind::ClosedFull, 1, "closed_loop;engine_coil;hx_raw");
    let log = [
        event("1", "2022-10-20T09:00", "loop_tested")
            .on("closed_loop")
            .read("EG", -37.0, "EG", "tank"),
        event("2", "2022-10-21T09:00", "drained").on("closed_loop").probed().minutes(20.0),
    ];
    let state = at_new_year(&closed, &log);
    let coil = state.one("engine_coil");
    assert_eq!((coil.holds, coil.evidence), (Holds::Drained, Evidence::Claimed));
}

#[test]
fn one_outlet_of_several_counts_as_claimed() {
    let boat = boat(CoolingKind::Raw, 1, "pot_lines;shower_sump");
    let of = |point: &str| {
        let taps = event("1", "2022-10-20T09:00", "house_blend").on("pot_lines").point(point);
        at_new_year(&boat, &[taps.jug("PG", "-100F")]).one("pot_lines").evidence
    };
    assert_eq!(of("galley cold"), Evidence::Claimed);
    // Nor do several, where nobody says how much went through.
    assert_eq!(of("galley; head; deck shower"), Evidence::Claimed);
}

/// Lines full of water hold antifreeze from where the colour came, or where enough went in (BoatUS, fresh-water plumbing).
#[test]
fn antifreeze_through_the_taps_without_litres_outlets_or_colour_is_claimed() {
    let boat = boat(CoolingKind::Raw, 1, "pot_lines;shower_sump");
    let of = |litres: Option<f64>, remark: &str| {
        let mut taps =
            event("1", "2022-10-20T09:00", "house_blend").on("pot_lines").jug("PG", "-100F");
        taps.0.litres_in = litres;
        taps.0.note = Some(remark.to_owned());
        let state = at_new_year(&boat, &[taps]);
        (state.one("pot_lines").evidence, asked(&state, "pot_lines").contains("how many litres"))
    };
    assert_eq!(of(None, ""), (Evidence::Claimed, true));
    assert_eq!(of(None, "measured out of the can"), (Evidence::Claimed, true));
    assert_eq!(of(None, "no colour at the stern shower"), (Evidence::Claimed, true));
    // A remark adds no worth.
    assert_eq!(of(None, "until pink at all taps"), (Evidence::Claimed, true));
    assert_eq!(of(Some(10.0), ""), (Evidence::Recorded, false));
}

#[test]
fn blowing_out_asks_how_and_empties_no_tank() {
    let boat = boat(CoolingKind::Raw, 1, "pot_lines;pot_tank;water_heater;head");
    let state = at_new_year(&boat, &[event("1", "2022-10-20T09:00", "blown_out").on("HOUSE")]);
    assert_eq!(state.one("water_heater").holds, Holds::Unknown);
    assert_eq!(state.one("pot_tank").holds, Holds::Unknown);
    assert!(asked(&state, "head").contains("at what pressure"));
}

#[test]
fn what_is_declined_after_it_was_done_is_asked_about() {
    let boat = boat(CoolingKind::Raw, 1, "head");
    let log = [
        event("1", "2022-10-20T09:00", "head_blend").jug("PG", "-100F").sheet("A"),
        event("2", "2022-10-22T09:00", "declined").on("head").sheet("B"),
    ];
    let state = at_new_year(&boat, &log);
    assert_eq!(state.one("head").evidence, Evidence::Claimed);
    assert!(asked(&state, "head").contains("which of the two sheets"));
}

#[test]
fn a_bare_side_is_the_engine_on_that_side() {
    let twin = boat(CoolingKind::Raw, 2, "block_raw");
    let log = [
        event("1", "2022-10-20T09:00", "drained").on("block_raw").instance("starboard engine"),
        event("2", "2022-10-20T10:00", "drained")
            .on("block_raw")
            .point("port")
            .probed()
            .minutes(9.0),
    ];
    let state = at_new_year(&twin, &log);
    assert_eq!(state.instance("block_raw", "port engine").holds, Holds::Drained);
    assert_eq!(
        state.instance("block_raw", "starboard engine").since.unwrap().to_rfc3339(),
        "2022-10-20T14:00:00+00:00"
    );
}

#[test]
fn the_word_for_the_whole_lay_up_sets_nothing_and_is_asked_about() {
    let mut signed = event("1", "2022-10-20T09:00", "signed_off");
    signed.0.note = Some("winterized".to_owned());
    let state = at_new_year(&sterndrive(), std::slice::from_ref(&signed));
    assert!(state.0.open_questions.iter().any(|ask| ask.contains("no fixed meaning")));
    assert!(state.0.circuits.iter().all(|circuit| circuit.holds == Holds::Unknown));
    let answer = event("2", "2022-10-22T09:00", "question_answered").method("block drained only");
    assert!(at_new_year(&sterndrive(), &[signed, answer]).0.open_questions.is_empty());
}

#[test]
fn an_entry_about_a_part_that_is_not_listed_is_asked_about() {
    let state =
        at_new_year(&sterndrive(), &[event("1", "2022-10-20T09:00", "ac_blend").jug("PG", "-50F")]);
    assert!(state.0.open_questions.iter().any(|ask| ask.contains("is it fitted")));
}

#[test]
fn a_reading_where_nothing_was_put_in_is_asked_about() {
    let log = [
        event("1", "2022-10-20T09:00", "engine_run").method("hose, blower 4 min"),
        event("2", "2022-10-20T10:00", "outlet_measured").read(
            "PG",
            -40.0,
            "PG",
            "muffler petcock",
        ),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert!(state.0.open_questions.iter().any(|ask| ask.contains("a reading was entered")));
    assert_eq!(state.one("block_raw").holds, Holds::Fresh);
}

#[test]
fn a_look_answers_whether_it_was_damaged_and_proves_no_drain_in_doubt() {
    let log = [
        event("1", "2022-10-20T09:00", "drained").on("block_raw").minutes(2.0),
        event("2", "2022-11-20T09:00", "ice_found").on("block_raw"),
        event("3", "2022-11-22T09:00", "inspected").on("block_raw").graded(Evidence::Probed),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert!(
        !asked(&state, "block_raw").contains("was it damaged"),
        "{}",
        asked(&state, "block_raw")
    );
    assert!(state.one("block_raw").evidence < Evidence::Probed);
}

/// A run on the hose undoes the flush wherever it is written down; a run that was not made undoes nothing.
#[test]
fn a_run_told_in_the_remark_of_another_entry_is_asked_about() {
    let flush = || {
        let flush = event("1", "2022-10-20T09:00", "drained").on("block_raw").probed();
        flush.minutes(20.0)
    };
    let after = |kind: &str, remark: &str| {
        let mut later = event("2", "2022-10-22T09:00", kind);
        later.0.note = Some(remark.to_owned());
        at_new_year(&sterndrive(), &[flush(), later])
    };
    for (kind, remark) in [
        ("fogged", "fogged with the engine running on the muffs"),
        ("engine_oil_changed", "Ran the engine 10 min to warm the oil"),
        ("moved_to", "to row C under own power"),
        ("fogged", "ran the engine 5 min; filter to be changed, do not start before spring"),
    ] {
        let state = after(kind, remark);
        let block = state.one("block_raw");
        assert!(block.evidence <= Evidence::Claimed, "{kind}: {block:?}");
        assert!(asked(&state, "block_raw").contains("was the engine run after"), "{kind}");
    }
    for remark in [
        "cold, engine not run",
        "no engine run, never ran on the muffs",
        "sprayed in by hand, do not start before spring",
        "",
    ] {
        let state = after("fogged", remark);
        assert_eq!(state.one("block_raw").evidence, Evidence::Probed, "{remark}");
    }
    // A run before the drain takes nothing from it.
    let mut before = event("0", "2022-10-20T08:00", "engine_oil_changed");
    before.0.note = Some("ran the engine warm".to_owned());
    let state = at_new_year(&sterndrive(), &[before, flush()]);
    assert_eq!(state.one("block_raw").evidence, Evidence::Probed);
}
