//! Whose an entry is: which engine, which side, which outlet, which of several entries of one day; and that honest sheets are
//! not marked down for it.

use rimeward::domain::boat::{CoolingKind, Evidence, Holds};

use super::build::{Entry, at_new_year, boat, event, sterndrive};
use super::worth::{asked, drained_block, filled, sampled};

fn block_drain(id: &str, minute: u32, point: &str) -> Entry {
    let at = format!("2022-10-20T08:{minute}");
    event(id, &at, "drained").on("block_raw;manifold_raw").minutes(20.0).probed().point(point)
}

#[test]
fn of_one_engine_any_name_means_that_one() {
    let log = [drained_block(), event("2", "2022-11-05T09:00", "engine_run").instance("main")];
    let state = at_new_year(&sterndrive(), &log);
    assert_eq!(state.one("block_raw").holds, Holds::Fresh, "one block, and it was run");
    let side = [drained_block().point("").instance("port")];
    assert!(at_new_year(&sterndrive(), &side).one("block_raw").closed_pocket, "one side of it");
    let house = boat(CoolingKind::Raw, 1, "pot_lines;water_heater");
    let log = [
        event("1", "2022-10-20T09:00", "heater_bypassed_drained"),
        event("2", "2022-11-05T09:00", "potable_refilled").instance("galley"),
    ];
    assert_eq!(at_new_year(&house, &log).one("water_heater").holds, Holds::Fresh);
}

#[test]
fn what_freezes_at_0_c_or_above_is_water_on_any_scale() {
    for (value_c, scale) in [(5.0, "PG"), (0.0, ""), (3.0, "EG")] {
        let log = [drained_block(), filled(8.0), sampled("3", 40, value_c, "block drains")];
        let mut log = log.to_vec();
        log[2].0.scale = (!scale.is_empty()).then(|| scale.to_owned());
        assert_eq!(at_new_year(&sterndrive(), &log).one("block_raw").holds, Holds::Fresh);
    }
}

#[test]
fn of_parts_that_hold_water_an_outlet_shows_nothing() {
    let log = [
        event("1", "2022-10-20T09:00", "engine_run").method("hose"),
        event("2", "2022-11-02T09:00", "outlet_measured").on("ENGINE_RAW").read(
            "PG",
            -30.0,
            "PG",
            "exhaust outlet",
        ),
    ];
    let state = at_new_year(&sterndrive(), &log);
    for part in ["raw_pump", "manifold_raw", "drive_water", "coolers_raw"] {
        assert_eq!(state.one(part).holds, Holds::Fresh, "{part}");
    }
    // Read at its own drain it speaks for itself; at the exhaust it does not, named alone or not.
    let at = |point: &str| {
        let read = event("2", "2022-11-02T09:00", "outlet_measured").on("manifold_raw");
        let log = [log[0].clone(), read.read("PG", -30.0, "PG", point)];
        at_new_year(&sterndrive(), &log).one("manifold_raw").holds
    };
    assert_eq!(at("both manifold drain plugs"), Holds::Blend);
    assert_eq!(at("port manifold drain plug"), Holds::Fresh, "the other side is full of water");
    assert_eq!(at("exhaust outlet"), Holds::Fresh);
}

#[test]
fn a_tap_speaks_for_no_other_system() {
    let house = boat(CoolingKind::Raw, 1, "pot_lines;head;shower_sump;block_raw;manifold_raw");
    let mut flush = event("1", "2022-10-20T09:00", "blend_flush")
        .on("block_raw;manifold_raw")
        .jug("PG", "-100F");
    flush.0.thermostat_open = Some("yes".to_owned());
    let log = [
        flush.method("run_warm"),
        event("2", "2022-10-20T09:10", "house_blend").on("HOUSE").jug("PG", "-50F"),
        event("3", "2022-10-20T09:20", "outlet_measured").on("HOUSE").read(
            "PG",
            -14.0,
            "PG",
            "galley cold",
        ),
        event("4", "2022-10-20T09:21", "outlet_measured").read("PG", -31.0, "PG", "galley cold"),
    ];
    let state = at_new_year(&house, &log);
    for part in ["head", "shower_sump", "block_raw", "manifold_raw"] {
        assert_ne!(state.one(part).evidence, Evidence::Measured, "{part}");
    }
    assert_eq!(state.instance("pot_lines", "galley cold").evidence, Evidence::Measured);
}

#[test]
fn two_sides_are_as_good_as_the_weaker_of_them() {
    let first = event("1", "2022-10-20T08:00", "drained").on("block_raw").point("port drain");
    let both = [first.minutes(2.0), block_drain("2", 30, "stbd drain")];
    let state = at_new_year(&sterndrive(), &both);
    let block = state.one("block_raw");
    assert!(block.evidence < Evidence::Probed && block.closed_pocket, "{block:?}");
}

#[test]
fn one_side_is_one_side_however_it_is_written() {
    for point in ["block P", "P side plug", "stb plug", "one of two plugs", "all port drains"] {
        let state = at_new_year(&sterndrive(), &[block_drain("1", 30, point)]);
        assert!(state.one("block_raw").closed_pocket, "{point}");
    }
    let state =
        at_new_year(&sterndrive(), &[block_drain("1", 30, "port block drain, both manifolds")]);
    assert!(state.one("block_raw").closed_pocket && !state.one("manifold_raw").closed_pocket);
    for point in ["block P+S; manifolds P+S", "both", "4 plugs", ""] {
        let state = at_new_year(&sterndrive(), &[block_drain("1", 30, point)]);
        assert!(!state.one("block_raw").closed_pocket, "{point}");
    }
    let twin = boat(CoolingKind::Raw, 2, "block_raw");
    let drain = block_drain("1", 30, "stbd block plug").instance("port engine");
    let state = at_new_year(&twin, &[drain]);
    assert!(state.instance("block_raw", "port engine").closed_pocket);
    let open = event("1", "2022-10-20T08:00", "drain_left_open").on("block_raw").minutes(1.0);
    let state = at_new_year(&sterndrive(), &[open.point("port block drain")]);
    assert!(
        state.one("block_raw").closed_pocket
            && state.one("block_raw").evidence <= Evidence::Claimed
    );
}

#[test]
fn a_half_drained_manifold_is_not_filled_by_pouring() {
    let log = [
        block_drain("1", 30, "port drains"),
        event("2", "2022-10-20T09:00", "blend_flush")
            .on("block_raw;manifold_raw")
            .jug("PG", "-100F")
            .method("filled_after_drain"),
        event("3", "2022-10-20T09:10", "outlet_measured")
            .on("block_raw;manifold_raw")
            .read("PG", -30.0, "PG", "exhaust"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    for part in ["block_raw", "manifold_raw"] {
        let part = state.one(part);
        assert!(part.closed_pocket && part.evidence <= Evidence::Claimed, "{part:?}");
    }
}

#[test]
fn blowing_out_without_a_list_empties_no_tank_either() {
    let boat = boat(CoolingKind::Raw, 1, "pot_lines;pot_tank;water_heater");
    let log = [
        event("1", "2022-10-20T09:00", "potable_refilled"),
        event("2", "2022-10-20T10:00", "blown_out"),
    ];
    let state = at_new_year(&boat, &log);
    assert_eq!(state.one("pot_tank").holds, Holds::Fresh);
    assert_eq!(state.one("water_heater").holds, Holds::Fresh);
}

/// Entries of one day without hours, under any ids: emptied, then filled, then declined.
#[test]
fn of_one_day_without_hours_the_order_of_work_counts_and_not_the_ids() {
    let boat = boat(CoolingKind::Raw, 1, "head;holding;block_raw;pot_lines;water_heater");
    for (first, second) in [("1", "2"), ("2", "1")] {
        let at = |id: &str, kind: &str| event(id, "2022-10-20T12:00", kind).day();
        let drain = at(first, "drained").on("block_raw").probed().minutes(20.0);
        let fill = at(second, "blend_flush").on("block_raw").jug("PG", "-100F");
        let state = at_new_year(&boat, &[drain, fill.method("filled_after_drain")]);
        assert_eq!(state.one("block_raw").holds, Holds::Blend, "{first}");
        let dose = at(second, "holding_dosed").jug("PG", "-100F");
        let state = at_new_year(&boat, &[at(first, "tank_emptied").on("holding"), dose]);
        assert_eq!(state.one("holding").holds, Holds::Blend, "{first}");
        let done = at(second, "head_blend").jug("PG", "-100F");
        let state = at_new_year(&boat, &[at(first, "declined").on("head"), done]);
        assert_eq!(state.one("head").evidence, Evidence::Claimed, "{first}");
    }
}

#[test]
fn a_product_that_nobody_knows_makes_no_measured_mixture() {
    let mut pink =
        event("2", "2022-10-20T09:30", "blend_flush").on("block_raw").jug("pink", "unknown");
    pink.0.litres_in = Some(8.0);
    let log = [
        drained_block(),
        pink.method("filled_after_drain"),
        sampled("3", 40, -30.0, "block drains"),
    ];
    assert!(at_new_year(&sterndrive(), &log).one("block_raw").evidence <= Evidence::Recorded);
}

#[test]
fn a_flush_of_the_raw_side_fills_no_closed_loop() {
    let closed = boat(CoolingKind::ClosedFull, 1, "closed_loop;hx_raw");
    let log = [
        event("1", "2022-10-20T09:00", "blend_flush").on("closed_loop;hx_raw").jug("PG", "-50F"),
        event("2", "2022-10-20T09:10", "outlet_measured")
            .on("closed_loop;hx_raw")
            .read("PG", -12.0, "PG", "exhaust"),
    ];
    let state = at_new_year(&closed, &log);
    assert_eq!(state.one("closed_loop").holds, Holds::Unknown);
    assert_eq!(state.one("hx_raw").evidence, Evidence::Measured);
}

#[test]
fn litres_are_counted_once_and_too_many_are_doubted() {
    let of = |litres: f64| {
        let state = at_new_year(&sterndrive(), &[drained_block(), filled(litres)]);
        state.one("block_raw").evidence
    };
    assert_eq!((of(20.0), of(300.0)), (Evidence::Recorded, Evidence::Claimed));
}

#[test]
fn a_reading_that_is_no_measurement_answers_no_question() {
    let log = [
        event("1", "2022-10-20T09:00", "launched").at("BERTH"),
        event("2", "2022-10-20T10:00", "blend_flush")
            .on("raw_pump")
            .jug("PG", "-100F")
            .method("run_warm"),
        event("3", "2022-10-20T12:00", "hauled").at("YARD"),
        event("4", "2022-10-20T12:30", "outlet_measured")
            .on("raw_pump")
            .read("PG", -30.0, "", "exhaust"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert!(asked(&state, "raw_pump").contains("lift"), "{}", asked(&state, "raw_pump"));
}

#[test]
fn a_look_from_the_dock_and_an_answer_that_it_is_cracked_clear_nothing() {
    let ice = event("1", "2022-11-20T09:00", "ice_found").on("block_raw");
    let after = |mut entry: Entry, note: &str| {
        entry.0.note = Some(note.to_owned());
        let state = at_new_year(&sterndrive(), &[ice.clone(), entry.on("block_raw")]);
        state.0.test_before_running.len()
    };
    let looked = event("2", "2022-11-22T09:00", "inspected");
    assert_eq!(after(looked.clone().graded(Evidence::Claimed), "looked at it from the dock"), 1);
    assert_eq!(after(looked.clone(), "pressure tested, no leak"), 0);
    assert_eq!(after(looked, "cracked at the rear plug"), 1);
    assert_eq!(after(event("2", "2022-11-22T09:00", "question_answered"), "yes, cracked"), 1);
}

#[test]
fn what_words_take_out_is_not_protected() {
    let twin = boat(CoolingKind::Raw, 2, "block_raw");
    let mut drain =
        event("1", "2022-10-20T09:00", "drained").on("block_raw").probed().minutes(20.0);
    drain.0.note = Some("not both engines, only one had time".to_owned());
    let state = at_new_year(&twin, &[drain.clone()]);
    assert!(state.all("block_raw").iter().all(|block| block.evidence <= Evidence::Claimed));
    drain.0.note = None;
    let state = at_new_year(&twin, &[drain.point("all plugs, not stbd engine")]);
    assert!(state.all("block_raw").iter().all(|block| block.evidence <= Evidence::Claimed));
}

#[test]
fn honest_sheets_are_not_marked_down() {
    // A flush without an hour, read the same day.
    let log = [
        event("1", "2022-10-20T12:00", "blend_flush")
            .on("raw_pump")
            .jug("PG", "-100F")
            .method("warm")
            .day(),
        event("2", "2022-10-20T15:30", "outlet_measured")
            .on("raw_pump")
            .read("PG", -30.0, "PG", "exhaust"),
    ];
    assert_eq!(at_new_year(&sterndrive(), &log).one("raw_pump").evidence, Evidence::Measured);
    // Ways of filling in other words.
    for (method, drained) in [("ran warm", false), ("hot", false), ("filled after draining", true)]
    {
        let mut flush =
            event("2", "2022-10-20T09:30", "blend_flush").on("block_raw").jug("PG", "-100F");
        flush.0.thermostat_open = Some("open".to_owned());
        let log: Vec<Entry> =
            drained.then(drained_block).into_iter().chain([flush.method(method)]).collect();
        assert_eq!(
            at_new_year(&sterndrive(), &log).one("block_raw").holds,
            Holds::Blend,
            "{method}"
        );
    }
    // Ten minutes are enough where several plugs are meant.
    for point in ["block P/S", "petcocks", "manifold x2"] {
        let drain = event("1", "2022-10-20T08:00", "drained").on("coolers_raw").minutes(10.0);
        let state = at_new_year(&sterndrive(), &[drain.probed().point(point)]);
        assert_eq!(state.one("coolers_raw").evidence, Evidence::Probed, "{point}");
    }
    // A tank need not have been full; a bank of 24 V is charged at 25.4.
    let boat = boat(CoolingKind::Raw, 1, "pot_tank;battery");
    let log = [
        event("1", "2022-10-20T08:00", "drained")
            .on("pot_tank")
            .litres_out(45.0)
            .minutes(30.0)
            .probed(),
        event("2", "2022-10-20T09:00", "battery_charged").volts(25.4),
    ];
    let state = at_new_year(&boat, &log);
    assert_eq!(state.one("pot_tank").evidence, Evidence::Probed);
    assert_eq!(state.one("battery").holds, Holds::Charged);
}

#[test]
fn words_that_deny_or_name_another_part_count() {
    for point in [
        "port side, stbd seized",
        "port yes, stbd no",
        "1 of 2",
        "half of them",
        "RH plug",
        "near side",
    ] {
        let state = at_new_year(&sterndrive(), &[block_drain("1", 30, point)]);
        assert!(state.one("block_raw").closed_pocket, "{point}");
    }
    for point in ["single point drain", "block drains", "petcocks"] {
        let state = at_new_year(&sterndrive(), &[block_drain("1", 30, point)]);
        assert!(!state.one("block_raw").closed_pocket, "{point}");
    }
    let state = at_new_year(&sterndrive(), &[block_drain("1", 30, "block plugs both")]);
    assert_eq!(state.one("block_raw").evidence, Evidence::Probed);
    assert_eq!(state.one("manifold_raw").evidence, Evidence::Claimed, "not named");
    let mut drain = drained_block();
    drain.0.note = Some("tried to drain, ran out of time".to_owned());
    let state = at_new_year(&sterndrive(), &[drain]);
    assert!(state.one("block_raw").evidence <= Evidence::Claimed);
    assert!(asked(&state, "block_raw").contains("what was done and what not"));
}

#[test]
fn the_jug_is_not_the_circuit() {
    for point in ["jug", "from the bucket", "supply tank"] {
        let log = [drained_block(), filled(8.0), sampled("3", 40, -30.0, point)];
        let block = at_new_year(&sterndrive(), &log).one("block_raw").evidence;
        assert!(block <= Evidence::Recorded, "{point}");
    }
    let water = event("2", "2022-10-20T09:30", "blend_flush").on("block_raw").jug("water", "");
    let state = at_new_year(&sterndrive(), &[drained_block(), water.method("filled_after_drain")]);
    assert_eq!(state.one("block_raw").holds, Holds::Fresh);
}

#[test]
fn however_she_came_to_float_her_valves_hold_what_she_floats_in() {
    let log = [
        event("1", "2022-10-20T09:00", "seacock_blend").on("seacock").jug("PG", "-100F"),
        event("2", "2022-10-25T09:00", "moved_to").at("BERTH"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert!(state.0.afloat);
    assert_eq!(state.one("seacock").holds, Holds::Sea);
}

#[test]
fn a_generator_that_ran_is_wet_and_a_tank_is_the_one_that_was_named() {
    let closed = boat(CoolingKind::ClosedFull, 1, "closed_loop;hx_raw;gen_raw;pot_tank;holding");
    let log = [
        event("1", "2022-10-20T09:00", "drained").on("gen_raw").probed().minutes(20.0),
        event("2", "2022-10-25T09:00", "engine_run").instance("generator").method("hose"),
        event("3", "2022-10-26T09:00", "tank_emptied").point("holding tank"),
    ];
    let state = at_new_year(&closed, &log);
    assert_eq!(state.one("gen_raw").holds, Holds::Fresh);
    assert_eq!(
        (state.one("holding").holds, state.one("pot_tank").holds),
        (Holds::Drained, Holds::Unknown)
    );
}

#[test]
fn words_that_say_not_warm_are_not_warm() {
    for method in ["never got warm", "no warm up", "lukewarm", "run_warm?"] {
        let mut flush =
            event("2", "2022-10-20T09:30", "blend_flush").on("block_raw").jug("PG", "-100F");
        flush.0.thermostat_open = Some("yes".to_owned());
        let log =
            [event("1", "2022-10-20T08:00", "engine_run").method("hose"), flush.method(method)];
        assert_eq!(
            at_new_year(&sterndrive(), &log).one("block_raw").holds,
            Holds::Fresh,
            "{method}"
        );
    }
}

#[test]
fn who_has_not_looked_has_cleared_nothing() {
    let ice = event("1", "2022-11-20T09:00", "ice_found").on("block_raw");
    for note in [
        "hairline in block",
        "not pressure tested",
        "no crack in port, stbd side cracked",
        "could not see",
    ] {
        let mut look = event("2", "2022-11-22T09:00", "inspected").on("block_raw");
        look.0.note = Some(note.to_owned());
        let state = at_new_year(&sterndrive(), &[ice.clone(), look]);
        assert_eq!(state.0.test_before_running.len(), 1, "{note}");
    }
}
