//! One test for each rule that the fold is held to where the trade leaves room.

use rimeward::domain::boat::{CoolingKind, Evidence, Holds};

use super::build::{at_new_year, boat, brief, event, folded, sterndrive};

const FLUSH: &str = "block_raw;manifold_raw;intake_hose;raw_pump;coolers_raw;drive_water";
const JETS: &str = "closed_loop;exhaust_wet;coolers_raw";

#[test]
fn a_void_withdraws_an_event_from_the_moment_it_is_known() {
    let log = [
        event("1", "2022-10-10T10:00", "drained").on("block_raw").probed().minutes(15.0),
        event("2", "2022-10-12T10:00", "engine_run").method("hose"),
        event("3", "2022-10-20T10:00", "correction").corrects("2").method("void"),
    ];
    let before = folded(&sterndrive(), &log, "2022-11-01T12:00", "2022-10-19T12:00");
    assert_eq!(before.one("block_raw").holds, Holds::Fresh);
    let after = folded(&sterndrive(), &log, "2022-11-01T12:00", "2022-11-01T12:00");
    assert_eq!(after.one("block_raw").holds, Holds::Drained);
    let earlier = folded(&sterndrive(), &log, "2022-10-13T12:00", "2022-11-01T12:00");
    assert_eq!(earlier.one("block_raw").holds, Holds::Drained, "at the original's own time");
}

#[test]
fn a_correction_replaces_the_fields_it_carries_at_the_originals_time() {
    let flush = event("1", "2022-10-10T10:00", "blend_flush").on("raw_pump").jug("PG", "-100F");
    let log = [
        flush.method("run_warm"),
        event("2", "2022-10-10T11:00", "outlet_measured")
            .on("raw_pump")
            .read("PG", -34.0, "PG", "exhaust"),
        event("3", "2022-10-20T10:00", "correction")
            .corrects("2")
            .read("PG", -24.0, "PG", "exhaust"),
    ];
    let then = folded(&sterndrive(), &log, "2022-10-15T12:00", "2022-10-15T12:00");
    assert_eq!(then.brief("raw_pump"), (Holds::Blend, Evidence::Measured, Some(-34.0)));
    let now = folded(&sterndrive(), &log, "2022-10-15T12:00", "2022-10-21T12:00");
    assert_eq!(now.brief("raw_pump"), (Holds::Blend, Evidence::Measured, Some(-24.0)));
}

/// A pump that was drained and filled: what is read at the outlet then speaks for it.
fn pump_filled() -> super::build::Entry {
    let mut filled =
        event("0", "2022-10-10T09:50", "blend_flush").on("raw_pump").jug("PG", "-100F");
    filled.0.litres_in = Some(1.5);
    filled.method("run_warm")
}

#[test]
fn the_corrected_id_may_stand_in_the_point() {
    let read = event("1", "2022-10-10T11:00", "outlet_measured").on("raw_pump");
    let log = [
        pump_filled(),
        read.read("PG", -34.0, "PG", "exhaust"),
        event("2", "2022-10-20T10:00", "correction").read("PG", -24.0, "PG", "1"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert_eq!(state.brief("raw_pump"), (Holds::Blend, Evidence::Measured, Some(-24.0)));
    let because = state.one("raw_pump").because.join("; ");
    assert!(because.contains("exhaust"), "the point is the original's");
}

#[test]
fn a_withdrawn_correction_does_not_act() {
    let log = [
        event("1", "2022-10-12T10:00", "engine_run").method("hose"),
        event("2", "2022-10-20T10:00", "correction").corrects("1").method("void"),
        event("3", "2022-10-21T10:00", "correction").corrects("2").method("void"),
    ];
    assert_eq!(at_new_year(&sterndrive(), &log).one("block_raw").holds, Holds::Fresh);
}

#[test]
fn protecting_one_instance_protects_only_that_one() {
    let twin = boat(CoolingKind::ClosedFull, 2, JETS);
    for named in [
        event("1", "2022-10-10T10:00", "loop_tested").on("closed_loop").read(
            "EG",
            -36.0,
            "EG",
            "port engine",
        ),
        event("1", "2022-10-10T10:00", "loop_tested")
            .on("closed_loop")
            .read("EG", -36.0, "EG", "")
            .instance("port engine"),
    ] {
        let state = at_new_year(&twin, &[named]);
        assert_eq!(
            brief(state.instance("closed_loop", "port engine")),
            (Holds::Coolant, Evidence::Measured, Some(-36.0))
        );
        let other = state.instance("closed_loop", "starboard engine");
        assert_eq!(other.holds, Holds::Unknown);
        assert!(!other.open_questions.is_empty());
    }
}

#[test]
fn an_instance_named_in_words_leaves_the_others_as_they_were() {
    let cruiser = boat(CoolingKind::ClosedFull, 1, "closed_loop;ac_raw;hull_void");
    let log = [
        event("1", "2022-10-10T10:00", "blown_out").on("ac_raw").point("saloon unit only"),
        event("2", "2022-10-10T11:00", "plug_out").on("hull_void").point("port and starboard logs"),
    ];
    let state = at_new_year(&cruiser, &log);
    assert_eq!(state.instance("ac_raw", "saloon unit").holds, Holds::Dry);
    assert_eq!(state.instance("ac_raw", "other units").holds, Holds::Unknown);
    let logs: Vec<Holds> = state.all("hull_void").iter().map(|state| state.holds).collect();
    assert_eq!(logs, [Holds::Drained, Holds::Drained, Holds::Unknown]);
}

#[test]
fn undoing_that_names_none_reaches_all_instances() {
    let twin = boat(CoolingKind::ClosedFull, 2, JETS);
    let flush = event("1", "2022-10-10T10:00", "blend_flush").on("exhaust_wet").jug("PG", "-100F");
    let log = [
        flush.method("run_warm").point("both engines"),
        event("2", "2022-10-12T10:00", "engine_run").method("lake"),
    ];
    let state = at_new_year(&twin, &log);
    let wet: Vec<Holds> = state.all("exhaust_wet").iter().map(|state| state.holds).collect();
    assert_eq!(wet, [Holds::Fresh, Holds::Fresh]);
    let one = [log[0].clone(), log[1].clone().instance("port engine")];
    let state = at_new_year(&twin, &one);
    assert_eq!(state.instance("exhaust_wet", "port engine").holds, Holds::Fresh);
    assert_eq!(state.instance("exhaust_wet", "starboard engine").holds, Holds::Blend);
}

#[test]
fn protecting_that_names_none_of_several_counts_as_claimed_and_asks() {
    let twin = boat(CoolingKind::ClosedFull, 2, JETS);
    let test = event("1", "2022-10-10T10:00", "loop_tested").on("closed_loop");
    let state = at_new_year(&twin, &[test.read("EG", -36.0, "EG", "")]);
    for one in state.all("closed_loop") {
        assert_eq!(brief(one), (Holds::Coolant, Evidence::Claimed, Some(-36.0)));
        assert!(one.open_questions.iter().any(|ask| ask.contains("which one")), "{one:?}");
    }
}

#[test]
fn a_run_without_circuits_reaches_the_whole_raw_path_of_every_engine() {
    let mut twin = sterndrive();
    twin.engines = 2;
    let log = [
        event("1", "2022-10-10T10:00", "drained")
            .on(FLUSH)
            .probed()
            .minutes(15.0)
            .point("both engines"),
        event("2", "2022-10-12T10:00", "engine_run").method("hose"),
    ];
    let state = at_new_year(&twin, &log);
    for circuit in FLUSH.split(';').chain(["heater_core"]) {
        for one in state.all(circuit) {
            assert_eq!(one.holds, Holds::Fresh, "{circuit}");
        }
    }
    assert_eq!(state.all("block_raw").len(), 2);
    assert_eq!(state.one("seacock").holds, Holds::Unknown, "a hose does not reach the seacock");
}

#[test]
fn with_the_hour_unknown_on_either_side_undoing_is_taken_last() {
    let drained = |time| event("1", time, "drained").on("block_raw").probed().minutes(15.0);
    let run = |time| event("2", time, "engine_run").method("hose");
    for log in [
        [drained("2022-10-10T15:00"), run("2022-10-10T09:00").day()],
        [drained("2022-10-10T15:00").day(), run("2022-10-10T09:00")],
        [drained("2022-10-10T15:00").day(), run("2022-10-10T09:00").day()],
    ] {
        let state = at_new_year(&sterndrive(), &log);
        assert_eq!(state.one("block_raw").holds, Holds::Fresh);
        assert_eq!(state.one("block_raw").undone_by.as_ref().unwrap().as_str(), "2");
    }
    let hours_known = [drained("2022-10-10T15:00"), run("2022-10-10T09:00")];
    assert_eq!(at_new_year(&sterndrive(), &hours_known).one("block_raw").holds, Holds::Drained);
}

#[test]
fn a_cold_run_through_leaves_block_manifold_and_hose_as_they_were() {
    let cold = event("1", "2022-10-10T10:00", "blend_flush").on(FLUSH).jug("PG", "-50F");
    let state = at_new_year(&sterndrive(), &[cold.method("run_cold")]);
    for circuit in ["block_raw", "manifold_raw", "intake_hose"] {
        assert_eq!(state.brief(circuit), (Holds::Unknown, Evidence::None, None), "{circuit}");
        assert!(!state.one(circuit).open_questions.is_empty());
    }
    for circuit in ["raw_pump", "coolers_raw", "drive_water"] {
        assert_eq!(
            state.brief(circuit),
            (Holds::Blend, Evidence::Claimed, state.brief(circuit).2),
            "{circuit}"
        );
        // Nobody says how much went through: it counts for the least that people use, thinned by what stood there.
        assert!(state.brief(circuit).2.unwrap() > -9.6 / 2.0, "{circuit}");
    }
}

#[test]
fn a_cold_run_into_drained_parts_counts_as_recorded_at_most() {
    let mut flush = event("2", "2022-10-10T11:00", "blend_flush").on(FLUSH).jug("PG", "-100F");
    flush.0.litres_in = Some(23.0);
    let log = [
        event("1", "2022-10-10T10:00", "drained").on(FLUSH).probed().minutes(15.0),
        flush.method("run_cold").graded(Evidence::Measured),
    ];
    let state = at_new_year(&sterndrive(), &log);
    let (holds, evidence, first_ice_c) = state.brief("block_raw");
    assert_eq!((holds, evidence), (Holds::Blend, Evidence::Recorded));
    // The label's -33.5 C on 0.6 L that stays in a block of 16 L: 50 % by volume becomes 48.1 %, some 2.7 K warmer.
    let first_ice_c = first_ice_c.unwrap();
    assert!((-31.3..=-30.3).contains(&first_ice_c), "{first_ice_c}");
}

#[test]
fn a_warm_run_reaches_the_block_only_through_an_open_thermostat() {
    let warm = event("1", "2022-10-10T10:00", "blend_flush").on(FLUSH).jug("PG", "-100F");
    let mut warm = warm.method("run_warm");
    assert_eq!(at_new_year(&sterndrive(), &[warm.clone()]).one("block_raw").holds, Holds::Unknown);
    warm.0.thermostat_open = Some("yes".to_owned());
    assert_eq!(at_new_year(&sterndrive(), &[warm]).one("block_raw").holds, Holds::Blend);
}

#[test]
fn an_outlet_speaks_for_what_is_upstream_but_not_for_an_undrained_block() {
    let cold = event("1", "2022-10-10T10:00", "blend_flush").on(FLUSH).jug("PG", "-100F");
    let log = [
        cold.method("run_cold"),
        event("2", "2022-10-10T10:10", "outlet_measured")
            .on(FLUSH)
            .read("PG", -34.0, "PG", "exhaust"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert_eq!(state.one("block_raw").holds, Holds::Unknown);
    assert_eq!(state.brief("raw_pump"), (Holds::Blend, Evidence::Measured, Some(-34.0)));
    let sampled = event("3", "2022-10-10T10:20", "block_sampled").on("block_raw");
    let log = [log[0].clone(), sampled.read("PG", -20.0, "PG", "both block drains")];
    assert_eq!(
        at_new_year(&sterndrive(), &log).brief("block_raw"),
        (Holds::Blend, Evidence::Measured, Some(-20.0)),
        "the block's own drain speaks for it"
    );
}

#[test]
fn of_two_readings_in_one_minute_the_warmer_stands_until_a_later_one() {
    let read = |id, time, value| {
        event(id, time, "outlet_measured").on("raw_pump").read("PG", value, "PG", "exhaust")
    };
    let mut log = vec![
        pump_filled(),
        read("1", "2022-10-10T10:00", -34.0),
        read("2", "2022-10-10T10:00", -29.0),
    ];
    let first_ice = |log: &[_]| at_new_year(&sterndrive(), log).brief("raw_pump").2;
    assert_eq!(first_ice(&log), Some(-29.0));
    log.reverse();
    assert_eq!(first_ice(&log), Some(-29.0));
    log.push(read("3", "2022-10-10T10:01", -33.0));
    assert_eq!(first_ice(&log), Some(-33.0));
}

#[test]
fn a_loop_corrected_or_topped_up_has_no_known_strength_until_tested_again() {
    let cruiser = boat(CoolingKind::ClosedFull, 1, "closed_loop;engine_coil;hx_raw");
    let test =
        |id, time| event(id, time, "loop_tested").on("closed_loop").read("EG", -36.0, "EG", "");
    for kind in ["loop_corrected", "topped_up_water"] {
        let mut log = vec![test("1", "2022-10-10T10:00"), event("2", "2022-10-11T10:00", kind)];
        let state = at_new_year(&cruiser, &log);
        for circuit in ["closed_loop", "engine_coil"] {
            assert_eq!(state.brief(circuit).2, None, "{kind}");
            assert_eq!(state.one(circuit).undone_by.as_ref().unwrap().as_str(), "2");
        }
        log.push(event("3", "2022-10-12T10:00", "engine_run").method("hose"));
        log.push(test("4", "2022-10-12T11:00"));
        let state = at_new_year(&cruiser, &log);
        assert_eq!(state.brief("closed_loop"), (Holds::Coolant, Evidence::Measured, Some(-36.0)));
    }
}

#[test]
fn a_correction_of_the_loop_tested_before_it_was_mixed_counts_for_nothing() {
    let cruiser = boat(CoolingKind::ClosedFull, 1, "closed_loop");
    let test = event("2", "2022-10-11T10:05", "loop_tested").read("EG", -45.0, "EG", "");
    let log = [event("1", "2022-10-11T10:00", "loop_corrected"), test];
    assert_eq!(at_new_year(&cruiser, &log).brief("closed_loop").2, None);
}

#[test]
fn doubtful_readings_are_recorded_at_most_and_no_colder_than_the_label() {
    let mut flush = event("1", "2022-10-10T10:00", "blend_flush").on("raw_pump").method("run_warm");
    flush.0.litres_in = Some(1.5);
    let check = |fluid: &str, label: &str, scale: &str, want: Option<f64>| {
        let read = event("2", "2022-10-10T10:10", "outlet_measured").on("raw_pump");
        let log = [flush.clone().jug(fluid, label), read.read(fluid, -46.0, scale, "exhaust")];
        let (holds, evidence, first_ice) = at_new_year(&sterndrive(), &log).brief("raw_pump");
        assert_eq!((holds, evidence), (Holds::Blend, Evidence::Recorded), "{fluid} {scale}");
        assert_eq!(first_ice, want, "{fluid} {label} on {scale:?}");
    };
    check("PG", "-100F", "EG", Some(-33.5));
    check("PG", "-100F", "", Some(-33.5));
    check("PG", "-50F", "EG", Some(-9.6));
    check("ethanol", "-50F", "PG", None);
    check("mixture", "mixed", "PG", None);
    let tank = flush.jug("recycled", "tank").graded(Evidence::Measured);
    assert_eq!(
        at_new_year(&sterndrive(), &[tank]).brief("raw_pump"),
        (Holds::Blend, Evidence::Recorded, None)
    );
}

#[test]
fn a_reading_without_a_sample_point_is_recorded_only() {
    let read = event("1", "2022-10-10T10:10", "outlet_measured").on("raw_pump");
    let state = at_new_year(&sterndrive(), &[pump_filled(), read.read("PG", -30.0, "PG", "")]);
    assert_eq!(state.brief("raw_pump").1, Evidence::Recorded);
}

#[test]
fn a_row_that_lists_circuits_reaches_these_only() {
    let log = [event("1", "2022-10-10T10:00", "pressure_washed").on("bilge")];
    let state = at_new_year(&sterndrive(), &log);
    assert_eq!(state.one("bilge").holds, Holds::Fresh);
    assert_eq!(state.one("scuppers").holds, Holds::Unknown);
    let state = at_new_year(&sterndrive(), &[event("1", "2022-10-10T10:00", "pressure_washed")]);
    assert_eq!(state.one("scuppers").holds, Holds::Fresh, "without a list, the default");
}

#[test]
fn runs_and_launches_always_reach_their_whole_path() {
    let run =
        |method| event("1", "2022-10-10T10:00", "fuel_treat_run").on("raw_pump").method(method);
    let state = at_new_year(&sterndrive(), &[run("hose")]);
    assert_eq!(
        (state.one("block_raw").holds, state.one("seacock").holds),
        (Holds::Fresh, Holds::Unknown)
    );
    let state = at_new_year(&sterndrive(), &[run("lake")]);
    assert_eq!(state.one("seacock").holds, Holds::Fresh, "from the lake also the seacock");
    let launched = event("1", "2022-10-10T10:00", "launched").on("bilge").at("BERTH");
    let state = at_new_year(&sterndrive(), std::slice::from_ref(&launched));
    assert_eq!(
        (state.one("seacock").holds, state.one("block_raw").holds),
        (Holds::Sea, Holds::Unknown)
    );
    let afloat = event("2", "2022-10-11T10:00", "engine_run");
    let state = at_new_year(&sterndrive(), &[launched, afloat]);
    assert_eq!(state.brief("block_raw").0, Holds::Sea);
    assert!((state.brief("seacock").2.unwrap() + 1.9).abs() < 0.1);
}

#[test]
fn emptied_tanks_cleared_drains_and_pulled_plugs_are_drained() {
    let mut cruiser = sterndrive();
    cruiser.fitted.extend(["pot_tank".into(), "holding".into()]);
    let log = [
        event("1", "2022-10-10T10:00", "tank_emptied"),
        event("2", "2022-10-10T10:00", "scuppers_cleared"),
        event("3", "2022-10-10T10:00", "plug_out"),
    ];
    let state = at_new_year(&cruiser, &log);
    for circuit in ["pot_tank", "holding", "scuppers", "bilge", "hull_void"] {
        assert_eq!(state.one(circuit).holds, Holds::Drained, "{circuit}");
    }
}

#[test]
fn a_charger_changes_no_state_and_a_load_ends_what_was_known() {
    let charged = event("1", "2022-10-10T10:00", "battery_charged").volts(12.6);
    let load = event("2", "2022-10-11T10:00", "battery_load_left_on");
    let charger = event("3", "2022-10-12T10:00", "charger_on");
    let looked = event("4", "2022-10-13T10:00", "inspected").on("battery").volts(12.5);
    let off = event("5", "2022-10-14T10:00", "battery_disconnected").volts(12.5);
    let log = [charger.clone()];
    assert_eq!(at_new_year(&sterndrive(), &log).one("battery").holds, Holds::Unknown);
    let mut log = vec![charged, load, charger, looked];
    let state = at_new_year(&sterndrive(), &log);
    assert_eq!(state.one("battery").holds, Holds::Unknown);
    assert_eq!(state.one("battery").undone_by.as_ref().unwrap().as_str(), "2");
    log.push(off.graded(Evidence::Measured));
    let state = at_new_year(&sterndrive(), &log);
    assert_eq!(
        (state.brief("battery").0, state.brief("battery").1),
        (Holds::Charged, Evidence::Measured)
    );
}

#[test]
fn last_winters_sheet_ends_on_the_first_of_june_at_the_latest() {
    let log =
        [event("1", "2022-10-10T10:00", "drained").on("block_raw;bilge").probed().minutes(15.0)];
    let state = folded(&sterndrive(), &log, "2023-05-31T12:00", "2023-12-31T12:00");
    assert_eq!(state.one("block_raw").holds, Holds::Drained);
    let state = folded(&sterndrive(), &log, "2023-06-01T12:00", "2023-12-31T12:00");
    assert_eq!(state.brief("block_raw"), (Holds::Unknown, Evidence::None, None));
    let mut southern = sterndrive();
    southern.site = "SOUTH".into();
    let state = folded(&southern, &log, "2022-12-01T12:00", "2023-12-31T12:00");
    assert_eq!(state.one("block_raw").holds, Holds::Unknown, "half a year earlier in the south");
}

#[test]
fn the_first_spring_run_recommissioning_and_the_rollover_end_the_sheet() {
    let layup =
        event("1", "2022-10-10T10:00", "drained").on("block_raw;gearcase").probed().minutes(15.0);
    let check = |end, reached, rest| {
        let state =
            folded(&sterndrive(), &[layup.clone(), end], "2023-05-01T12:00", "2023-12-31T12:00");
        assert_eq!(state.one("block_raw").holds, reached);
        assert_eq!(state.brief("gearcase").0, rest, "what was not reached keeps its state");
        assert!(state.brief("gearcase").1 <= Evidence::Claimed, "and is worth less");
    };
    check(
        event("2", "2023-04-10T10:00", "engine_run").method("hose"),
        Holds::Fresh,
        Holds::Drained,
    );
    check(
        event("2", "2023-04-10T10:00", "recommissioned").on("block_raw"),
        Holds::Fresh,
        Holds::Drained,
    );
    check(event("2", "2023-04-10T10:00", "season_rolled_over"), Holds::Unknown, Holds::Unknown);
    let winter = [layup, event("2", "2023-02-10T10:00", "engine_run").method("hose")];
    let state = folded(&sterndrive(), &winter, "2023-02-12T12:00", "2023-12-31T12:00");
    assert_eq!(state.one("gearcase").holds, Holds::Drained, "a run in February is only an undoing");
}

#[test]
fn ice_in_an_unprotected_circuit_shows_that_it_is_wet() {
    let trawler = boat(CoolingKind::ClosedFull, 1, "gen_raw;hx_raw");
    let ice = event("1", "2022-12-19T13:00", "ice_found").on("gen_raw").graded(Evidence::Probed);
    let state = at_new_year(&trawler, std::slice::from_ref(&ice));
    assert_eq!(state.brief("gen_raw"), (Holds::Fresh, Evidence::Probed, Some(0.0)));
    assert_eq!(state.0.test_before_running.len(), 1);
    let cleared = event("2", "2022-12-20T13:00", "inspected").on("gen_raw");
    assert!(at_new_year(&trawler, &[ice, cleared]).0.test_before_running.is_empty());
}

#[test]
fn a_loop_test_needs_no_point_and_speaks_for_the_engine_coil_of_closed_engines() {
    let test = event("1", "2022-10-10T10:00", "loop_tested").read("EG", -37.0, "EG", "");
    let closed = boat(CoolingKind::ClosedHalf, 1, "closed_loop;engine_coil");
    let state = at_new_year(&closed, std::slice::from_ref(&test));
    for circuit in ["closed_loop", "engine_coil"] {
        assert_eq!(state.brief(circuit), (Holds::Coolant, Evidence::Measured, Some(-37.0)));
    }
    let raw = boat(CoolingKind::Raw, 1, "closed_loop;engine_coil");
    assert_eq!(at_new_year(&raw, &[test]).one("engine_coil").holds, Holds::Unknown);
}
